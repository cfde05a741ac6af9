"""Everybody wants the same at the same instant, round after round: exactly one is told yes."""

import os
import time
from collections.abc import Callable
from datetime import timedelta
from statistics import quantiles

import pytest
from django.db import connection, connections

from dispatch.models import Booking
from dispatch.services import bookings
from dispatch.services.claims import SlotTaken
from jobs.models import Job
from jobs.refusals import Refusal
from jobs.services.backlog import take_in_backlog
from tests import builders
from tests.dispatch.battery.office import Office, ask
from tests.dispatch.battery.writers import FORK, PATIENCE_S
from tests.dispatch.test_bookings import MORNING
from tests.invariants import broken
from tests.jobs.test_backlog import csv_of, numbered

pytestmark = pytest.mark.django_db(transaction=True)

Answers = list[list[tuple[str, str]]]


def rounds(
    count: int,
    turns: int,
    work: Callable[[int, int], object],
    clear: Callable[[str], object] = lambda _: None,
) -> Answers:
    """`work(turn, number)` in `count` processes at once, `turns` times; the answers by turn.

    When everybody has been answered, each winner's answer is handed to `clear`.
    """
    connections.close_all()  # a forked child must never share its parent's connection
    barrier, queue = FORK.Barrier(count), FORK.Queue()

    def child(number: int) -> None:
        for turn in range(turns):
            barrier.wait(PATIENCE_S)
            began = time.monotonic()
            try:
                said = ("ok", str(work(turn, number)))
            except Refusal as refusal:
                said = (refusal.code, str(refusal))
            except Exception as trouble:  # noqa: BLE001  the parent's assertion shows it
                said = ("broken", repr(trouble))
            queue.put((turn, *said, time.monotonic() - began))
            barrier.wait(PATIENCE_S)
            if said[0] == "ok":
                clear(said[1])
        connections.close_all()

    children = [FORK.Process(target=child, args=(number,)) for number in range(count)]
    for each in children:
        each.start()
    answers: Answers = [[] for _ in range(turns)]
    took_s = []
    for _ in range(count * turns):
        turn, code, text, spent_s = queue.get(timeout=PATIENCE_S)
        answers[turn].append((code, text))
        took_s.append(spent_s)
    for each in children:
        each.join(PATIENCE_S)
    cuts = quantiles(took_s, n=100)
    line = (
        f"\n{count} processes x {turns} rounds on {connection.vendor}: p50 {1000 * cuts[49]:.0f}, "
        f"p99 {1000 * cuts[98]:.0f}, longest {1000 * max(took_s):.0f} ms; "
        f"load {os.getloadavg()[0]:.1f}\n"
    )
    os.write(1, line.encode())
    return answers


def put_back(office: Office) -> Callable[[str], object]:
    """Call a booking off again, so that its floor can be booked in the next round."""

    def clear(number: str) -> None:
        booking = Booking.objects.get(pk=number)
        known = {"booking_id": booking.pk, "version": booking.version}
        bookings.call_off(why="next round", **known, **office.common)

    return clear


def one_crew_day(office: Office, *, count: int, turns: int) -> None:
    def work(turn: int, number: int) -> int:
        job = Job.objects.get(pk=office.jobs[number].pk)
        wanted = ask(office.crews[0], start=MORNING + timedelta(days=turn))
        return bookings.book(job_id=job.pk, version=job.version, ask=wanted, **office.common).pk

    answers = rounds(count, turns, work, put_back(office))

    for turn, said in enumerate(answers):
        codes = [code for code, _ in said]
        assert codes.count("ok") == 1, (turn, said)
        assert set(codes) <= {"ok", "taken", "busy"}, said
    busy = sum(code == "busy" for said in answers for code, _ in said)
    assert busy <= count * turns / 100
    assert broken(office.branch) == []


def one_key(office: Office, *, count: int, turns: int) -> None:
    def work(turn: int, _: int) -> int:
        job = office.jobs[turn]
        wanted = ask(office.crews[0], start=MORNING + timedelta(days=turn), key=f"press {turn}")
        return bookings.book(job_id=job.pk, version=job.version, ask=wanted, **office.common).pk

    answers = rounds(count, turns, work)

    for said in answers:
        assert {code for code, _ in said} == {"ok"}, said
        assert len({text for _, text in said}) == 1, said
    assert Booking.objects.count() == turns
    assert broken(office.branch) == []


def three_grinders(office: Office, *, count: int, turns: int) -> None:
    """Crews of their own, three grinders among them: whoever finds one taken tries the next."""
    crews = [builders.crew(of=office.branch, installers=0) for _ in range(count)]

    def work(turn: int, number: int) -> int:
        # Half days and whole ones that all hold 11 AM to noon: no four can have a grinder.
        start = MORNING + timedelta(days=turn, hours=4 * (number % 2))
        hours = 4 if number % 2 else 5
        last: Refusal | None = None
        for grinder in office.grinders:
            job = Job.objects.get(pk=office.jobs[number].pk)
            wanted = ask(crews[number], start=start, hours=hours, machines=(grinder,))
            try:
                return bookings.book(
                    job_id=job.pk, version=job.version, ask=wanted, **office.common
                ).pk
            except SlotTaken as refusal:
                last = refusal
        assert last is not None
        raise last

    answers = rounds(count, turns, work, put_back(office))

    for turn, said in enumerate(answers):
        codes = [code for code, _ in said]
        assert codes.count("ok") == 3, (turn, said)
        assert set(codes) <= {"ok", "taken"}, said
    assert broken(office.branch) == []


def one_file(office: Office, *, count: int, turns: int) -> None:
    """Everybody brings the same backlog: its floors wait once."""
    before = Job.objects.count()

    def work(turn: int, _: int) -> str:
        data = csv_of(numbered(2 * turn), numbered(2 * turn + 1))
        return str(take_in_backlog(data=data, **office.common).again)

    answers = rounds(count, turns, work)

    for said in answers:
        assert min(said) == ("ok", "False"), said
        assert sorted(said)[1:] == [("ok", "True")] * (count - 1), said
    assert Job.objects.count() == before + 2 * turns


def overlapping_days(office: Office, *, count: int, turns: int) -> None:
    """Bookings of one to three days that all hold the middle one: one of them stands, whole."""

    def work(turn: int, number: int) -> int:
        first = MORNING + timedelta(days=4 * turn + number % 2)
        crew, other = office.crews[0], office.crews[1 + number % 3]
        crews = (other, crew) if number % 2 == 0 else (crew, other, other)
        job = Job.objects.get(pk=office.jobs[number].pk)
        wanted = ask(*crews, start=first)
        return bookings.book(job_id=job.pk, version=job.version, ask=wanted, **office.common).pk

    answers = rounds(count, turns, work, put_back(office))

    for turn, said in enumerate(answers):
        codes = [code for code, _ in said]
        assert codes.count("ok") == 1, (turn, said)
        assert set(codes) <= {"ok", "taken", "busy"}, said
    assert broken(office.branch) == []


@pytest.fixture
def office(transactional_db) -> Office:
    return Office(jobs=110)


def test_one_crew_day_has_one_winner(office):
    one_crew_day(office, count=10, turns=4)


def test_one_press_makes_one_booking(office):
    one_key(office, count=10, turns=3)


def test_three_grinders_have_three_winners(office):
    three_grinders(office, count=10, turns=2)


def test_one_file_is_taken_in_once(office):
    one_file(office, count=8, turns=2)


def test_bookings_of_several_days_that_share_one_have_one_winner(office):
    overlapping_days(office, count=10, turns=2)


@pytest.mark.long
def test_one_file_is_taken_in_once_fifty_times_ten(office):
    one_file(office, count=50, turns=10)


@pytest.mark.long
def test_bookings_of_several_days_have_one_winner_fifty_times_thirty(office):
    overlapping_days(office, count=50, turns=30)


@pytest.mark.long
def test_one_crew_day_has_one_winner_fifty_times_two_hundred(office):
    one_crew_day(office, count=50, turns=200)


@pytest.mark.long
def test_one_press_makes_one_booking_fifty_times_a_hundred(office):
    one_key(office, count=50, turns=100)


@pytest.mark.long
def test_three_grinders_have_three_winners_among_fifty(office):
    three_grinders(office, count=50, turns=30)
