from django.urls import include, path

from wearlog.config.authority_file import authority_file

urlpatterns = [
    path("authority.crt", authority_file, name="authority"),
    path("", include("wearlog.web.urls")),
    path("look/", include("wearlog.web.urls_look")),
]
