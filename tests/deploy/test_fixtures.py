"""The fixtures themselves: each gives what it promises, on the engine of this run."""

import os
import smtplib
import subprocess
import sys
import threading

import pytest
import redis
from django.core.mail import send_mail
from django.db import connection

from tests import servers


def test_the_database_is_the_engine_of_this_run(db):
    engine = os.environ.get("SLABCAST_TEST_ENGINE", "sqlite")

    assert connection.vendor == engine


@pytest.mark.django_db(transaction=True)
def test_another_process_meets_us_in_the_same_database(database_url):
    from django.contrib.contenttypes.models import ContentType

    ContentType.objects.create(app_label="planted", model="row")
    code = (
        "import django; django.setup();"
        "from django.contrib.contenttypes.models import ContentType as C;"
        "print(C.objects.filter(app_label='planted').count())"
    )
    told = servers.child_environment({"DATABASE": database_url, "DEMO": "1"})

    seen = subprocess.run([sys.executable, "-c", code], env=told, capture_output=True, text=True)

    assert (seen.stdout.strip(), seen.stderr) == ("1", "")


@pytest.mark.django_db(transaction=True)
def test_threads_meet_in_the_same_database():
    from django.contrib.contenttypes.models import ContentType

    ContentType.objects.create(app_label="planted", model="row")
    seen = []

    def look():
        seen.append(ContentType.objects.filter(app_label="planted").count())
        connection.close()

    thread = threading.Thread(target=look)
    thread.start()
    thread.join()

    assert seen == [1]


def test_redis_answers_and_is_empty_of_others(redis_url):
    client = redis.Redis.from_url(redis_url)

    client.set("test:greeting", "hello", ex=60)

    assert client.get("test:greeting") == b"hello"


def test_mail_reaches_the_sink(mail_server):
    send_mail("Tomorrow", "Dry until noon.", "office@example.org", ["crew@example.org"])

    assert [message["Subject"] for message in mail_server.messages] == ["Tomorrow"]


def test_the_sink_can_refuse(mail_server):
    mail_server.answer = "451 4.3.0 later"

    with pytest.raises(smtplib.SMTPException):
        send_mail("Tomorrow", "Dry until noon.", "office@example.org", ["crew@example.org"])

    assert mail_server.messages == []


def test_no_test_reaches_another_machine():
    import requests

    with pytest.raises(requests.ConnectionError, match="a test tried to reach"):
        requests.get("http://192.0.2.1/", timeout=1)  # TEST-NET-1, RFC 5737
