"""Readiness, heartbeats and the figures for a monitor."""

from datetime import timedelta

import pytest
from django.utils import timezone
from prometheus_client.parser import text_string_to_metric_families

from deploy import health
from dispatch.reads import pulse
from dispatch.services.round import beat
from tests import builders
from weather.models import ServiceState

pytestmark = pytest.mark.django_db


def figures(client, **headers):
    reply = client.get("/metrics", **headers)
    if reply.status_code != 200:
        return reply.status_code
    return {
        (sample.name, sample.labels.get("work", "")): sample.value
        for family in text_string_to_metric_families(reply.content.decode())
        for sample in family.samples
    }


def test_there_is_no_such_address_without_a_token(client):
    assert figures(client, HTTP_AUTHORIZATION="Bearer ") == 404


@pytest.mark.parametrize("given", ["", "Bearer wrong", "right-token"])
def test_another_token_is_told_nothing(client, settings, given):
    settings.METRICS_TOKEN = "right-token"

    assert figures(client, HTTP_AUTHORIZATION=given) == 404


def test_the_figures_are_read_by_the_reference_reader(client, settings):
    settings.METRICS_TOKEN = "right-token"
    builders.branch()
    beat("notices", now=timezone.now() - timedelta(minutes=3))

    found = figures(client, HTTP_AUTHORIZATION="Bearer right-token")

    assert found["slabcast_heartbeat_age_seconds", "notices"] == pytest.approx(180, abs=5)
    assert found["slabcast_notices_due", ""] == 0
    # No forecast was ever stored, and what is not known is not zero.
    assert ("slabcast_forecast_newest_age_seconds", "") not in found


def test_work_that_nobody_does_is_named(client):
    now = timezone.now()
    for kind in pulse.KINDS:
        beat(kind, now=now)
    ready = {"database": "ok", "migrations": 0, "silent": [], "clocks": ""}
    assert client.get("/readyz").json() == ready

    beat("forecast", now=now - timedelta(hours=1))  # earlier than the last: changes nothing
    assert pulse.silent(now=now + timedelta(minutes=12)) == list(pulse.KINDS)


def test_never_done_is_silent_too(client):
    assert client.get("/readyz").json()["silent"] == list(pulse.KINDS)


def test_a_clock_that_differs_is_named_and_takes_nobody_out(client):
    ServiceState.objects.create(service="metno", clock_ahead_s=-2700.0)

    reply = client.get("/readyz")

    assert reply.status_code == 200
    assert "The clock of MET Norway is 45 min behind this machine's." in reply.json()["clocks"]


def test_not_ready_before_the_migrations(client, monkeypatch):
    monkeypatch.setattr(health.MigrationExecutor, "migration_plan", lambda *_: ["one"])

    reply = client.get("/readyz")

    assert (reply.status_code, reply.json()["migrations"]) == (503, 1)
