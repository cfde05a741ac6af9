"""Healthz: only the database decides."""

import time
from types import SimpleNamespace

import pytest
from django.db import DatabaseError
from django.test import RequestFactory

from deploy import health


@pytest.fixture
def asked(db):
    def ask():
        return health.healthz(RequestFactory().get("/healthz"))

    return ask


def test_well_without_redis(asked):
    reply = asked()

    assert reply.status_code == 200
    assert reply.content == b'{"database": "ok", "redis": "off"}'
    assert "no-store" in reply["Cache-Control"]


def test_well_with_redis(asked, settings, redis_url):
    settings.REDIS_URL = redis_url

    assert asked().content == b'{"database": "ok", "redis": "ok"}'


def test_a_redis_that_is_gone_is_told_and_decides_nothing(asked, settings):
    settings.REDIS_URL = "redis://127.0.0.1:1/0"
    start = time.monotonic()

    reply = asked()

    assert (reply.status_code, b'"redis": "down"' in reply.content) == (200, True)
    assert time.monotonic() - start < 3


def test_ill_when_the_database_is_gone(asked, monkeypatch):
    def refuse():
        raise DatabaseError("gone")

    monkeypatch.setattr(health, "connection", SimpleNamespace(cursor=refuse))

    assert asked().status_code == 503


def test_only_reading_is_allowed():
    assert health.healthz(RequestFactory().post("/healthz")).status_code == 405
