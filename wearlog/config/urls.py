from django.urls import include, path

from wearlog.config.authority_file import authority_file

handler400 = "wearlog.web.site.faults.pages.bad_request"
handler500 = "wearlog.web.site.faults.pages.broken"

urlpatterns = [
    path("authority.crt", authority_file, name="authority"),
    path("", include("wearlog.web.urls")),
    path("look/", include("wearlog.web.look.urls")),
]
