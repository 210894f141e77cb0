from django.http import HttpResponse

from wearlog.people.roles import Permission
from wearlog.web.access import SignedInRequest, needs


@needs(Permission.VIEW)
def forecast(request: SignedInRequest, pk: int = 0) -> HttpResponse:
    return HttpResponse("not yet")


@needs(Permission.VIEW)
def job_card(request: SignedInRequest, pk: int = 0) -> HttpResponse:
    return HttpResponse("not yet")
