"""All addresses of the program."""

from django.urls import include, path

from deploy.health import healthz, readyz
from deploy.metrics import metrics

urlpatterns = [
    path("", include("dispatch.urls")),
    path("", include("dispatch.urls_secret")),
    path("api/v1/", include("dispatch.api.urls")),
    path("healthz", healthz, name="healthz"),
    path("readyz", readyz, name="readyz"),
    path("metrics", metrics, name="metrics"),
]
handler500 = "dispatch.views.away.broken"
