"""All addresses of the program."""

from django.urls import include, path

from deploy.health import healthz

urlpatterns = [
    path("", include("dispatch.urls")),
    path("", include("dispatch.urls_secret")),
    path("api/v1/", include("dispatch.api.urls")),
    path("healthz", healthz, name="healthz"),
]
handler500 = "dispatch.views.away.broken"
