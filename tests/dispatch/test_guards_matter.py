"""Every guard of the booking core matters: take one away, and a named test fails.

Each case copies the sources, takes one guard out of the copy, and runs the tests that watch
it there, on SQLite and on PostgreSQL. A text that is no longer found fails its case, so that
this list moves on with the code.
"""

import os
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests import servers

pytestmark = pytest.mark.long

ENGINES = ("sqlite", "postgresql")
SOURCES = ("deploy", "dispatch", "jobs", "weather", "tests", "templates")
FILES = ("manage.py", "pyproject.toml")
PATIENCE_S = 600

BOOKINGS = "dispatch/services/bookings.py"
CHANGING = "dispatch/services/changing.py"
CLAIMS = "dispatch/services/claims.py"
MODELS = "dispatch/models/bookings.py"
PLACING = "dispatch/services/placing.py"
SWAPPING = "dispatch/services/swapping.py"
UNDOING = "dispatch/services/undoing.py"
SENDING = "dispatch/services/sending.py"
HEATING = "dispatch/services/heating.py"
NOTICES = "dispatch/models/notices.py"
MIGRATION = "dispatch/migrations/0001_crews_bookings_and_notices.py"
SCOPING = "jobs/models/scoping.py"
WRITING = "jobs/writing.py"

IN_BOOKINGS = "tests/dispatch/test_bookings.py"
NEVER_TWICE = "tests/dispatch/test_never_twice.py"
IN_WRITING = "tests/jobs/test_writing.py"
RESTING = "tests/dispatch/test_rest_claims.py"
HANDED_OVER = "tests/dispatch/test_hand_overs.py"
SWAPS = "tests/dispatch/test_swaps.py"
UNDOES = "tests/dispatch/test_undo.py"
IN_SENDING = "tests/dispatch/test_sending.py"
HEATED = "tests/dispatch/test_heating.py"
OFFERED = "tests/dispatch/test_offer_promises.py"

ANOTHER_BRANCH = f"{IN_BOOKINGS}::test_another_branch_finds_neither_job_nor_crew_nor_booking"
CONFIRMATIONS = f"{NEVER_TWICE}::test_twenty_confirmations_of_one_page_change_it_once"
KEY_ORDER = f"{NEVER_TWICE}::test_locks_and_claims_are_taken_in_key_order"
REPEATS = f"{NEVER_TWICE}::test_twenty_repeats_of_one_request_get_one_booking"
SHOWN = f"{IN_BOOKINGS}::test_a_member_of_one_branch_is_shown_nothing_of_another"


@dataclass(frozen=True)
class Edit:
    """One exact replacement in one file."""

    file: str
    found: str
    instead: str


@dataclass(frozen=True)
class Guard:
    """The edits that take a guard away, and the tests that must all fail without it."""

    edits: tuple[Edit, ...]
    caught_by: tuple[str, ...]
    # Where SQLite's one writer at a time makes a lock or an order needless, only PostgreSQL
    # can miss it.
    engines: tuple[str, ...] = ENGINES


ASK_FIRST = """\
def book(**given: Any) -> Booking:
    ask, by = given["ask"], given["by"]
    what = given.get("asked") or ("book", given["job_id"], ask)
    answered = idempotency.answered(by=by, key=ask.key, what=what)
    if answered is not None:
        return Booking.objects.get(pk=answered)
    return _book(**given)


@run_write
def _book(
"""
ASK = "    answered = idempotency.answered(by=by, key=ask.key, what=what)\n"
TELLING = "    if connection.features.has_select_for_update:\n        transaction.on_commit("
LOCK = (
    "    if connection.features.has_select_for_update:\n        wanted = wanted.select_for_update("
)
LOCK += 'of=("self",), no_key=True)\n'

GUARDS = {
    # With `id` among its fields a unique constraint refuses nothing.
    "nobody is in two places": Guard(
        (
            Edit(MODELS, 'fields=["resource", "granule"]', 'fields=["resource", "granule", "id"]'),
            Edit(
                MIGRATION, 'fields=("resource", "granule")', 'fields=("resource", "granule", "id")'
            ),
        ),
        (
            f"{NEVER_TWICE}::test_the_database_itself_refuses_a_second_claim",
            f"{NEVER_TWICE}::test_twenty_processes_that_book_one_crew_day_make_one_booking",
            f"{IN_BOOKINGS}::test_two_crews_cannot_have_one_grinder",
            f"{IN_BOOKINGS}::test_somebody_who_is_away_cannot_be_booked",
        ),
    ),
    "locks in key order": Guard((Edit(CLAIMS, '.order_by("pk")', ""),), (KEY_ORDER,)),
    "claims sorted, not as a set has them": Guard(
        (Edit(CLAIMS, "sorted({resource.pk", "list({resource.pk"),), (KEY_ORDER,)
    ),
    "claims sorted, not as they were given": Guard(
        (
            Edit(
                CLAIMS,
                "sorted({resource.pk for resource in resources})",
                "dict.fromkeys(resource.pk for resource in resources)",
            ),
        ),
        (KEY_ORDER,),
    ),
    "resources are locked": Guard(
        (Edit(CLAIMS, "wanted = wanted.select_for_update(no_key=True)", "pass"),),
        (KEY_ORDER,),
        ("postgresql",),
    ),
    "a booking's version": Guard(
        (Edit(CHANGING, "if booking.version != version:", "if False:"),),
        (
            CONFIRMATIONS,
            f"{IN_BOOKINGS}::test_a_change_by_somebody_else_makes_the_old_page_stale",
        ),
    ),
    "a booking is locked": Guard(
        (Edit(CHANGING, LOCK + "    booking:", "    booking:"),), (CONFIRMATIONS,), ("postgresql",)
    ),
    "a job's version": Guard(
        (Edit(BOOKINGS, "if job.version != version:", "if False:"),),
        (f"{IN_BOOKINGS}::test_a_job_that_somebody_changed_is_not_booked_from_the_old_page",),
    ),
    "a job is locked": Guard(
        (Edit(CHANGING, LOCK + "    job:", "    job:"),),
        (f"{NEVER_TWICE}::test_twenty_days_for_one_floor_make_one_booking",),
        ("postgresql",),
    ),
    "a job of this branch": Guard(
        (Edit(CHANGING, "Job.objects.of_branch(branch)", "Job.objects"),), (ANOTHER_BRANCH,)
    ),
    "a booking of this branch": Guard(
        (Edit(CHANGING, "Booking.objects.of_branch(branch)", "Booking.objects"),),
        (ANOTHER_BRANCH,),
    ),
    "a crew of this branch": Guard(
        (Edit(PLACING, "Crew.objects.of_branch(branch)", "Crew.objects.all()"),),
        (ANOTHER_BRANCH,),
    ),
    "a machine of this branch": Guard(
        (Edit(PLACING, "Machine.objects.of_branch(branch)", "Machine.objects"),),
        (ANOTHER_BRANCH,),
    ),
    "rest is claimed": Guard(
        (Edit(CLAIMS, "                *rest.get(resource_id, ()),\n", ""),),
        (
            f"{RESTING}::test_after_a_night_nobody_of_it_works_before_ten_hours_are_over",
            f"{RESTING}::test_a_person_lent_to_another_crew_rests_there_too",
        ),
    ),
    "a machine's road is claimed": Guard(
        (
            Edit(
                "dispatch/rules/asking.py",
                "self.until + timedelta(minutes=self.travel_after_min)",
                "self.until",
            ),
        ),
        (f"{HANDED_OVER}::test_two_crews_share_a_machine_one_after_the_other_but_never_its_road",),
    ),
    "a swap gives both back before it takes": Guard(
        (Edit(SWAPPING, "        give_back(booking)\n", "        pass\n"),),
        (f"{SWAPS}::test_crews_of_one_day_can_swap_where_two_moves_could_not",),
    ),
    "a swap keeps a customer's days off": Guard(
        (Edit(SWAPPING, "if day in job.days_off():", "if False:"),),
        (f"{SWAPS}::test_a_day_on_which_the_customer_cannot_is_refused",),
    ),
    "an undone call-off looks at its floor": Guard(
        (Edit(UNDOING, "if booking.job.state != JobState.WAITING:", "if False:"),),
        (f"{UNDOES}::test_a_floor_that_was_booked_meanwhile_is_not_booked_twice",),
    ),
    "an undone call-off locks its floor": Guard(
        (Edit(UNDOING, "booking.job = locked_job(branch, booking.job_id)", "pass"),),
        (f"{UNDOES}::test_undo_and_a_new_booking_of_one_floor_at_once_leave_one_booking",),
        ("postgresql",),
    ),
    "an undo puts nothing back into the past": Guard(
        (Edit(UNDOING, "begun or min(", "False and min("),),
        (f"{UNDOES}::test_a_day_that_has_begun_is_not_put_back",),
    ),
    "only a member sees a branch": Guard(
        (
            Edit(
                SCOPING,
                'self.filter(**{f"{self.branch_path}__in": branches})',
                "self.all()",
            ),
        ),
        (SHOWN, f"{IN_BOOKINGS}::test_somebody_who_was_let_go_is_shown_nothing"),
    ),
    "one branch is one branch": Guard(
        (Edit(SCOPING, "self.filter(**{self.branch_path: branch})", "self.all()"),),
        (SHOWN, ANOTHER_BRANCH),
    ),
    "busy is tried again": Guard(
        (Edit(WRITING, "TRIES = 4", "TRIES = 1"),),
        (
            f"{IN_WRITING}::test_a_busy_database_is_asked_again",
            f"{NEVER_TWICE}::test_a_deadlock_at_any_statement_is_as_if_it_had_not_been",
        ),
    ),
    "a deadlock is tried again": Guard(
        (Edit(WRITING, '"40P01", ', ""),),
        (
            f"{IN_WRITING}::test_two_writers_in_a_ring_both_finish",
            f"{NEVER_TWICE}::test_a_deadlock_at_any_statement_is_as_if_it_had_not_been",
        ),
        ("postgresql",),
    ),
    "a refusal is not tried again": Guard(
        (
            Edit(WRITING, "except OperationalError as trouble:", "except Exception as trouble:"),
            Edit(WRITING, "if not is_transient(trouble):", "if attempt == TRIES - 1:"),
        ),
        (
            f"{IN_WRITING}::test_a_refusal_is_never_repeated_and_leaves_nothing",
            f"{IN_WRITING}::test_trouble_that_will_not_pass_is_never_repeated",
        ),
    ),
    "one transaction": Guard(
        (Edit(WRITING, "with transaction.atomic():", "if True:"),),
        (
            f"{NEVER_TWICE}::test_a_fault_at_any_statement_leaves_everything_as_it_was[book]",
            f"{IN_WRITING}::test_a_refusal_is_never_repeated_and_leaves_nothing",
        ),
    ),
    "one open booking a job, in the database": Guard(
        (
            Edit(MODELS, 'fields=["job"]', 'fields=["job", "id"]'),
            Edit(MIGRATION, 'fields=("job",)', 'fields=("job", "id")'),
        ),
        (f"{NEVER_TWICE}::test_the_database_itself_refuses_a_second_open_booking_of_a_job",),
    ),
    "one open booking a job, in a sentence": Guard(
        (Edit(BOOKINGS, "job.bookings.filter(state__in=OPEN_STATES).exists() or ", ""),),
        (f"{IN_BOOKINGS}::test_a_job_with_an_open_booking_is_not_booked_again",),
    ),
    "only a job that waits": Guard(
        (Edit(BOOKINGS, " or job.state != JobState.WAITING", ""),),
        (f"{IN_BOOKINGS}::test_a_job_that_waits_no_longer_is_not_booked",),
    ),
    "what comes after a commit cannot undo its answer": Guard(
        (Edit(CHANGING, ", robust=True)", ")"),),
        (f"{IN_BOOKINGS}::test_what_fails_after_the_commit_does_not_take_the_answer_away",),
        ("postgresql",),
    ),
    "the calendar's version rises": Guard(
        (Edit(CHANGING, "    _tell_of_change(booking.branch_id)\n", ""),),
        (f"{OFFERED}::test_the_calendar_that_is_kept_and_renewed_is_the_one_that_is_read_anew",),
    ),
    "the calendar's version rises after the commit, so that no row is kept hot": Guard(
        (Edit(CHANGING, TELLING, "    if False:\n        transaction.on_commit("),),
        (f"{IN_BOOKINGS}::test_what_fails_after_the_commit_does_not_take_the_answer_away",),
        ("postgresql",),
    ),
    "the calendar's version rises inside SQLite's one transaction": Guard(
        (Edit(CHANGING, TELLING, "    if True:\n        transaction.on_commit("),),
        (f"{IN_BOOKINGS}::test_what_fails_after_the_commit_does_not_take_the_answer_away",),
        ("sqlite",),
    ),
    "a heater's time is claimed": Guard(
        (Edit(HEATING, "    claims.take_absence(absence)\n    stay: ", "    stay: "),),
        (f"{HEATED}::test_a_heater_is_in_one_room_only",),
    ),
    "a notice is leased before it is sent": Guard(
        (Edit(SENDING, "    if not notice.lease(now, now + LEASE):\n        return False\n", ""),),
        (f"{IN_SENDING}::test_while_the_mail_server_thinks_nobody_else_sends_the_same",),
    ),
    "a lease is had by one": Guard(
        (
            Edit(
                NOTICES,
                "                Q(state=NoticeState.PENDING)"
                " | Q(state=NoticeState.SENDING, lease_until__lt=now)\n            )\n",
                "                Q()\n            )\n",
            ),
        ),
        (f"{IN_SENDING}::test_of_two_who_saw_one_notice_waiting_one_has_it",),
    ),
    "a dead sender's lease lapses": Guard(
        (Edit(NOTICES, "            | Q(state=NoticeState.SENDING, lease_until__lt=now)\n", ""),),
        (f"{IN_SENDING}::test_a_dead_senders_notice_goes_out_when_its_lease_has_lapsed",),
    ),
    "a repeat is asked about in the transaction": Guard(
        (
            Edit(BOOKINGS, ASK, "    answered = None\n"),
            Edit(BOOKINGS, "@run_write\ndef book(\n", ASK_FIRST),
        ),
        (REPEATS,),
    ),
    "a repeat is asked about behind the lock": Guard(
        (
            Edit(BOOKINGS, "    job = locked_job(branch, job_id)\n    what =", "    what ="),
            Edit(
                BOOKINGS,
                "    if job.version != version:\n",
                "    job = locked_job(branch, job_id)\n    if job.version != version:\n",
            ),
        ),
        (REPEATS,),
        ("postgresql",),
    ),
}
CASES = [(name, engine) for name, guard in GUARDS.items() for engine in guard.engines]


@pytest.fixture(params=ENGINES)
def engine(request: pytest.FixtureRequest) -> str:
    """Each engine in turn; PostgreSQL is skipped where its server is missing."""
    return _present(request.param)


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """The sources in a folder of their own."""
    for name in SOURCES:
        ignore = shutil.ignore_patterns("__pycache__")
        shutil.copytree(servers.ROOT / name, tmp_path / name, ignore=ignore)
    for name in FILES:
        shutil.copy2(servers.ROOT / name, tmp_path / name)
    return tmp_path


def test_with_every_guard_in_place_all_pass(copy, engine):
    ran = _pytest(copy, engine, IN_BOOKINGS, NEVER_TWICE, IN_WRITING)

    assert ran.returncode == 0, ran.stdout


@pytest.mark.parametrize(("name", "engine_name"), CASES)
def test_without_a_guard_its_tests_fail(copy, name, engine_name):
    guard = GUARDS[name]
    for edit in guard.edits:
        _apply(edit, copy)

    ran = _pytest(copy, _present(engine_name), *guard.caught_by)

    print(ran.stdout)  # pytest -s shows what each missing guard broke
    assert ran.returncode == 1, ran.stdout  # 2 to 5 are trouble with the run itself
    failed = set(re.findall(r"^FAILED (\S+?)(?: - |$)", ran.stdout, re.MULTILINE))
    survived = [test for test in guard.caught_by if not any(one.startswith(test) for one in failed)]
    assert not survived, f"passed without the guard: {survived}\n{ran.stdout}"
    assert not re.search(r"^ERROR ", ran.stdout, re.MULTILINE), ran.stdout


def _present(engine: str) -> str:
    if engine == "postgresql":
        try:
            servers.postgres_programs()
        except servers.Missing as missing:
            pytest.skip(str(missing))
    return engine


def _apply(edit: Edit, folder: Path) -> None:
    path = folder / edit.file
    source = path.read_text()
    assert source.count(edit.found) == 1, f"{edit.file} has not one place with: {edit.found}"
    path.write_text(source.replace(edit.found, edit.instead))


def _pytest(folder: Path, engine: str, *tests: str) -> subprocess.CompletedProcess[str]:
    """Run `tests` in the copy, with nothing of this run's own pytest in the environment."""
    ours = ("PYTEST_", "PYTHONPATH", "DJANGO_", "SLABCAST_")
    environment = {name: value for name, value in os.environ.items() if not name.startswith(ours)}
    environment |= {"SLABCAST_TEST_ENGINE": engine, "COLUMNS": "250"}
    # Captured log lines begin with ERROR as well as a test that could not be set up.
    quiet = ("-q", "--tb=short", "--show-capture=no", "-p", "no:cacheprovider")
    command = [sys.executable, "-m", "pytest", *quiet]
    return subprocess.run(
        [*command, *tests],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
    )
