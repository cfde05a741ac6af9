"""Figures for an ordinary monitor, in the Prometheus text format, from what the database holds.

They are counted when they are asked for, so they are right whichever process answers, and
however many there are. `SLABCAST_METRICS_TOKEN` opens the address; without it there is none.
"""

import hmac
from collections.abc import Iterable, Iterator
from datetime import datetime

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe
from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, generate_latest
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from dispatch.reads import pulse


@never_cache
@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """The figures; 404 without `Authorization: Bearer` and the token of the settings."""
    wanted = f"Bearer {settings.METRICS_TOKEN}"
    given = request.headers.get("Authorization", "")
    if not settings.METRICS_TOKEN or not hmac.compare_digest(given.encode(), wanted.encode()):
        raise Http404
    registry = CollectorRegistry()
    registry.register(_Figures(now=timezone.now()))
    return HttpResponse(generate_latest(registry), content_type=CONTENT_TYPE_LATEST)


class _Figures(Collector):
    def __init__(self, *, now: datetime) -> None:
        self.now = now

    def describe(self) -> Iterable[Metric]:
        # Otherwise registering would count everything once for nothing.
        return ()

    def collect(self) -> Iterator[Metric]:
        beats = GaugeMetricFamily(
            "slabcast_heartbeat_age_seconds",
            "Since the background work of this kind last ran.",
            labels=["work"],
        )
        for name, age_s in pulse.heartbeat_ages_s(now=self.now).items():
            beats.add_metric([name], age_s)
        yield beats
        for name, words, value in pulse.figures(now=self.now):
            yield GaugeMetricFamily(f"slabcast_{name}", words, value=value)
