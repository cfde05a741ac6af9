"""The clock and the queues: what beat names exists, and every task has a queue of its kind."""

import socket
import time

import pytest
import redis
from kombu.exceptions import OperationalError

from deploy.celery import QUEUES, app

OURS = ("weather.", "jobs.", "dispatch.")


@pytest.fixture(scope="module", autouse=True)
def tasks_are_found():
    app.autodiscover_tasks(force=True)


@pytest.mark.parametrize("tick", app.conf.beat_schedule.values(), ids=app.conf.beat_schedule)
def test_beat_wakes_tasks_that_exist(tick):
    assert tick["task"] in app.tasks


@pytest.mark.parametrize("tick", app.conf.beat_schedule.values(), ids=app.conf.beat_schedule)
def test_a_tick_nobody_took_lapses_before_the_next(tick):
    assert tick["options"]["expires"] <= tick["schedule"]


def test_every_task_goes_to_a_queue_of_its_kind():
    ours = [name for name in app.tasks if name.startswith(OURS)]
    queues = {name: app.amqp.router.route({}, name)["queue"].name for name in ours}

    assert ours
    assert set(queues.values()) <= set(QUEUES)
    assert {queues[name] for name in ours if ".refresh_" in name} == {"forecast"}


def test_the_clock_is_in_utc():
    assert (app.conf.timezone, app.conf.enable_utc) == ("UTC", True)


def test_only_json_is_taken_from_the_broker():
    assert app.conf.accept_content == ["json"]


def seconds_until_refused(address):
    start = time.monotonic()
    with app.connection_for_write(address) as broker, pytest.raises(OperationalError):
        app.send_task("dispatch.tasks.send_due", connection=broker)
    return time.monotonic() - start


def test_a_broker_that_is_gone_is_noticed_at_once():
    assert seconds_until_refused("redis://127.0.0.1:1/0") < 1


def test_a_broker_that_hangs_holds_a_page_up_for_seconds_only():
    with socket.create_server(("127.0.0.1", 0)) as silent:
        port = silent.getsockname()[1]

        # Two seconds of patience, and a third for a busy machine.
        assert seconds_until_refused(f"redis://127.0.0.1:{port}/0") < 3


def test_a_message_reaches_the_queue_of_its_kind(redis_url):
    with app.connection_for_write(redis_url) as broker:
        app.send_task("dispatch.tasks.send_due", connection=broker)

    waiting = redis.Redis.from_url(redis_url)
    assert (waiting.llen("notices"), waiting.llen("verdicts")) == (1, 0)
