from django.http import HttpResponse

from wearlog.people.roles import Permission
from wearlog.web.access import SignedInRequest, needs


@needs(Permission.VIEW)
def presses(request: SignedInRequest, pk: int = 0) -> HttpResponse:
    return HttpResponse("not yet")


@needs(Permission.VIEW)
def press(request: SignedInRequest, pk: int = 0) -> HttpResponse:
    return HttpResponse("not yet")
