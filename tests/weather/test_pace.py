"""One request a second to each host, whoever of us asks: counted by the host itself."""

import time
from datetime import timedelta

import numpy as np
import pytest
from django.db import transaction
from django.utils import timezone

from tests.racing import race
from tests.weather.conftest import Reply
from tests.weather.replies import point
from weather import http, pace
from weather.models import HostTurn

PATH = "/points/33.5,-86.8"
PACE_S = 0.4


@pytest.fixture
def service(nws, monkeypatch):
    """A service that notes when it was asked, at a pace quick enough for a test."""
    monkeypatch.setattr(http, "PACE_S", PACE_S)
    nws.moments = []
    answer = nws.next

    def noted(path):
        nws.moments.append(time.monotonic())
        return answer(path)

    nws.next = noted
    nws.say(PATH, point())
    return nws


def gaps_s(service):
    return np.diff(sorted(service.moments))


def ask(service):
    return http.get_json(service.url, PATH, accept="application/geo+json").status


@pytest.mark.django_db(transaction=True)
def test_four_processes_share_one_pace_at_a_host(service):
    """api.weather.gov and api.met.no ask for it; open-meteo refuses what comes at once."""
    answers = race(4, lambda _: [ask(service) for _ in range(2)])

    assert [code for code, _ in answers] == ["ok"] * 4
    assert len(service.moments) == 8
    # On a busy machine a request is late by a fraction of a second; eight are not, on the whole.
    assert gaps_s(service).min() > PACE_S / 3
    assert gaps_s(service).sum() > 7 * PACE_S * 0.9


@pytest.mark.django_db(transaction=True)
def test_tries_again_and_redirects_keep_the_pace_too(service):
    moved = Reply(b"", status=301, headers={"Location": f"{service.url}/elsewhere"})
    service.say(PATH, Reply(b"", status=503, kind="text/html"), moved)
    service.say("/elsewhere", point())

    assert ask(service) == 200
    assert len(service.moments) == 3
    assert gaps_s(service).min() > PACE_S / 3
    assert gaps_s(service).sum() > 2 * PACE_S * 0.8


@pytest.mark.django_db(transaction=True)
def test_waiting_for_a_turn_takes_nothing_of_the_services_time(service, monkeypatch):
    monkeypatch.setattr(http, "DEADLINE_S", 0.5)
    HostTurn.objects.create(
        host=service.url.partition("//")[2], free_at=timezone.now() + timedelta(seconds=1)
    )

    assert ask(service) == 200


@pytest.mark.django_db(transaction=True)
def test_a_clock_set_back_does_not_close_a_host_for_days(service):
    HostTurn.objects.create(
        host=service.url.partition("//")[2], free_at=timezone.now() + timedelta(days=2)
    )
    before = time.monotonic()

    assert ask(service) == 200
    assert time.monotonic() - before < 2


@pytest.mark.django_db(transaction=True)
def test_nobody_sleeps_inside_a_transaction(service):
    with pytest.raises(RuntimeError, match="no transaction open"), transaction.atomic():
        pace.wait_for_turn("127.0.0.1:1", pace_s=1.0)
