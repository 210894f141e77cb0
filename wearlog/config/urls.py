from django.urls import include, path

urlpatterns = [
    path("", include("wearlog.web.urls")),
    path("look/", include("wearlog.web.urls_look")),
]
