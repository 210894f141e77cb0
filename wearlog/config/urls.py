from django.urls import include, path

urlpatterns = [
    path("", include("wearlog.web.urls")),
]
