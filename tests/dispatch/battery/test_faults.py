"""A fault at any statement of any write: the database stays as it was, or has all of the change.

Once as an exception and once as the end of the process: at every statement in turn with
`--long`, else at the first eight and every fourth, and at every seventeenth.
"""

import os
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta

import pytest
from django.apps import apps
from django.db import connection, connections

from dispatch.models import Machine, MachineKind, Proposal
from dispatch.rules.asking import Promised
from dispatch.rules.firmness import Firmness
from dispatch.services import bookings, crews, heating, proposals
from dispatch.services.privacy import erase_customer
from dispatch.services.swapping import Side
from jobs.services.backlog import take_in_backlog
from jobs.services.returning import ComingBack, come_back
from tests import builders
from tests.builders import NOW
from tests.dispatch.battery.office import Office, ask
from tests.dispatch.battery.writers import FORK
from tests.dispatch.test_bookings import MORNING
from tests.invariants import broken
from tests.jobs.test_backlog import csv_of, numbered

pytestmark = pytest.mark.django_db(transaction=True)

LATER = MORNING + timedelta(days=3)
SHORT, MOST = 8, 400  # a short write is tried at each of its statements
JOBS_TABLES = ("Job", "Customer", "Site", "Floor", "AuditEvent", "IdempotencyKey")
DIED = 7


class Fault(Exception):
    """The statement that was chosen to fail."""


def everything() -> dict[str, list[tuple]]:
    """Every value of every row of the tables that bookings write."""
    tables = [*apps.get_app_config("dispatch").get_models()]
    tables += [apps.get_model("jobs", name) for name in JOBS_TABLES]
    return {
        table._meta.label: sorted(map(repr, table.objects.values_list()))
        for table in tables
        if hasattr(table, "objects")
    }


@pytest.fixture
def office(transactional_db) -> Office:
    return Office(jobs=4)


def first(office: Office):
    job, (north, *_) = office.jobs[0], office.crews
    wanted = ask(north, machines=(office.grinders[0],))
    return bookings.book(job_id=job.pk, version=job.version, ask=wanted, **office.common)


def second(office: Office):
    job, (_, south, *_) = office.jobs[1], office.crews
    return bookings.book(
        job_id=job.pk, version=job.version, ask=ask(south, start=LATER), **office.common
    )


def known(office: Office, booking):
    return {"booking_id": booking.pk, "version": booking.version, **office.common}


def booking_(office: Office) -> Callable[[], object]:
    job, (north, south, *_) = office.jobs[2], office.crews
    wanted = ask(north, south, machines=(office.grinders[1],), key="once")
    return lambda: bookings.book(job_id=job.pk, version=job.version, ask=wanted, **office.common)


def moving(office: Office) -> Callable[[], object]:
    booked, (*_, west, east) = first(office), office.crews
    return lambda: bookings.move(ask=ask(west, east, start=LATER), **known(office, booked))


def calling_off(office: Office) -> Callable[[], object]:
    booked = first(office)
    return lambda: bookings.call_off(why="rain", **known(office, booked))


def confirming(office: Office) -> Callable[[], object]:
    booked = first(office)
    return lambda: bookings.confirm(**known(office, booked))


def swapping(office: Office) -> Callable[[], object]:
    one, two = first(office), second(office)
    sides = {"first": Side(one.pk, one.version), "second": Side(two.pk, two.version)}
    return lambda: bookings.swap(**sides, **office.common)


def undoing_a_move(office: Office) -> Callable[[], object]:
    (*_, west) = office.crews
    moved = bookings.move(ask=ask(west, start=LATER), **known(office, first(office)))
    return lambda: bookings.undo(**known(office, moved))


def undoing_a_call_off(office: Office) -> Callable[[], object]:
    gone = bookings.call_off(why="rain", **known(office, first(office)))
    return lambda: bookings.undo(**known(office, gone))


def handing_over(office: Office) -> Callable[[], object]:
    booked = first(office)
    until = MORNING + timedelta(hours=3)
    grinder = office.grinders[0].pk
    return lambda: bookings.hand_over(machine_id=grinder, until=until, **known(office, booked))


def leaving(office: Office) -> Callable[[], object]:
    stint = first(office).stints.get()
    return lambda: bookings.leave(stint_id=stint.pk, **office.common)


def being_away(office: Office) -> Callable[[], object]:
    who = office.crews[0].resource_id
    return lambda: crews.add_absence(
        resource_id=who, start=MORNING, end=MORNING + timedelta(hours=6), **office.common
    )


def being_back(office: Office) -> Callable[[], object]:
    absence = being_away(office)()
    return lambda: crews.end_absence(absence_id=absence.pk, **office.common)


def joining(office: Office) -> Callable[[], object]:
    lent = office.crews[0].memberships.first().installer
    lent.memberships.update(from_day=date(2026, 1, 5))
    to = office.crews[1].pk
    return lambda: crews.join_crew(
        crew_id=to, installer_id=lent.pk, from_day=MORNING.date(), **office.common
    )


def erasing(office: Office) -> Callable[[], object]:
    gone = bookings.call_off(why="rain", **known(office, first(office)))
    return lambda: erase_customer(customer_id=gone.job.customer_id, **office.common)


def importing(office: Office) -> Callable[[], object]:
    data = csv_of(numbered(1), numbered(2))
    return lambda: take_in_backlog(data=data, **office.common)


def placing(office: Office) -> Callable[[], object]:
    heater = builders.machine(of=office.branch, kind=MachineKind.HEATER)
    return lambda: place(office, heater)


def place(office: Office, heater: Machine):
    site_id, until = office.jobs[0].site_id, MORNING + timedelta(days=1)
    asked = {"machine_id": heater.pk, "site_id": site_id, "power_kw": 9.0}
    return heating.place_heater(start=MORNING, end=until, **asked, **office.common)


def taking_away(office: Office) -> Callable[[], object]:
    stay = place(office, builders.machine(of=office.branch, kind=MachineKind.HEATER))
    at = MORNING + timedelta(hours=6)
    return lambda: heating.take_heater_away(stay_id=stay.pk, at=at, **office.common)


def accepting(office: Office) -> Callable[[], object]:
    proposal = Proposal.objects.create(
        booking=first(office),
        starts=[MORNING.isoformat()],
        was=[LATER.isoformat()],
        asked_at=NOW,
        answer_by=LATER,
    )
    who = {"by": office.by, "how": proposals.TELEPHONE, "now": NOW}
    return lambda: proposals.accept(proposal.pk, **who)


def coming_back(office: Office) -> Callable[[], object]:
    coated = bookings.leave(stint_id=first(office).stints.get().pk, **office.common)
    spot = ComingBack(cause="bubbles", area_m2=4.0)
    return lambda: come_back(job_id=coated.job_id, what=spot, key="once", **office.common)


def lapsing(office: Office) -> Callable[[], object]:
    job, until = office.jobs[0], NOW + timedelta(minutes=30)
    held = replace(ask(office.crews[0]), held_until=until)
    bookings.book(job_id=job.pk, version=job.version, ask=held, **office.common)
    return lambda: bookings.lapse_holds(now=until)


def promising_later(office: Office) -> Callable[[], object]:
    booked = first(office)
    later = booked.drive_on_at + timedelta(hours=5)
    promised = Promised(level=Firmness.CONFIRMED, walk_on_at=booked.walk_on_at, drive_on_at=later)
    told = {"branch": office.branch, "booking_id": booked.pk, "version": booked.version}
    return lambda: bookings.promise_later(promised=promised, now=NOW, why="It gets colder.", **told)


PATHS = {
    "book": booking_,
    "move": moving,
    "call off": calling_off,
    "confirm": confirming,
    "swap": swapping,
    "undo a move": undoing_a_move,
    "undo a call-off": undoing_a_call_off,
    "hand over": handing_over,
    "leave": leaving,
    "be away": being_away,
    "be back": being_back,
    "join a crew": joining,
    "erase": erasing,
    "import": importing,
    "place a heater": placing,
    "take a heater away": taking_away,
    "accept a proposal": accepting,
    "come back": coming_back,
    "lapse a hold": lapsing,
    "promise later": promising_later,
}


def failing_at(statement: int, fail: Callable[[], None]) -> Callable:
    """A wrapper of statements that calls `fail` instead of the one with this number."""
    numbers = iter(range(10_000))

    def execute(run, sql, params, many, context):
        if next(numbers) == statement:
            fail()
        return run(sql, params, many, context)

    return execute


def fault() -> None:
    raise Fault


@pytest.mark.parametrize("path", PATHS)
def test_an_exception_at_any_statement_leaves_everything_as_it_was(office, path, request):
    write = PATHS[path](office)
    before = everything()

    step = 1 if request.config.getoption("--long") else 4
    for statement in (*range(SHORT), *range(SHORT, MOST, step)):
        try:
            with connection.execute_wrapper(failing_at(statement, fault)):
                write()
        except Fault:
            assert everything() == before, f"statement {statement} left something behind"
        else:
            break

    assert 3 < statement < MOST - step
    assert everything() != before
    assert broken(office.branch) == []


def end_the_process() -> None:
    os._exit(DIED)


@pytest.mark.parametrize("path", PATHS)
def test_the_end_of_the_process_at_any_statement_leaves_everything_as_it_was(office, path, request):
    write = PATHS[path](office)
    before = everything()
    step = 1 if request.config.getoption("--long") else 17

    for statement in range(2, MOST, step):
        connections.close_all()  # a forked child must never share its parent's connection

        def child(statement: int = statement) -> None:
            with connection.execute_wrapper(failing_at(statement, end_the_process)):
                write()
            connections.close_all()
            os._exit(0)

        process = FORK.Process(target=child)
        process.start()
        process.join(60)
        if process.exitcode == 0:
            break
        assert process.exitcode == DIED, process.exitcode
        assert everything() == before, f"statement {statement} left something behind"

    assert statement < MOST - step
    assert everything() != before
    assert broken(office.branch) == []
