from django.urls import URLPattern

app_name = "web"
urlpatterns: list[URLPattern] = []
