"""What a backup holds, what is wrong with it, and what must be done to it before it is used."""

from dataclasses import dataclass, field
from datetime import UTC, datetime

from django.db import connection
from django.db.migrations.loader import MigrationLoader

from jobs.refusals import Refusal

# Tables whose rows never go: a copy can have more of them than were there when it began,
# since the office works on, but never fewer.
LASTING = (
    "jobs_branch",
    "jobs_customer",
    "jobs_floor",
    "jobs_job",
    "jobs_auditevent",
    "dispatch_booking",
    "dispatch_stint",
    "dispatch_notice",
    "dispatch_calendarentry",
)
CLAIMS, BOOKINGS, MIGRATIONS = "dispatch_claim", "dispatch_booking", "django_migrations"
GUARDS = ("nobody_is_in_two_places", "one_open_booking_a_job")
# More than an entry changes between two backups, so that what subscribers saw after the
# backup is older than what they see after the restore (RFC 5545 section 3.8.7.4).
SEQUENCE_STEP = 1000


class BackupRefused(Refusal):
    """A backup was not made or not put back; the sentence says why, and nothing was changed."""

    code = "backup_refused"


@dataclass
class Contents:
    """What was found in a backup: rows of each table, its migrations, and what is wrong."""

    counts: dict[str, int] = field(default_factory=dict)
    migrations: set[tuple[str, str]] = field(default_factory=set)
    faults: list[str] = field(default_factory=list)

    def fewer_than(self, least: dict[str, int]) -> list[str]:
        """A sentence for each table that lost rows on the way."""
        return [
            f"{table} has {self.counts.get(table, 0)} rows, and there were {count}."
            for table, count in least.items()
            if self.counts.get(table, 0) < count
        ]


def present_counts() -> dict[str, int]:
    """Rows of the lasting tables in the database that is in use."""
    with connection.cursor() as cursor:
        found = {}
        for table in LASTING:
            cursor.execute(f"SELECT count(*) FROM {table}")  # noqa: S608  names of our own
            found[table] = cursor.fetchone()[0]
        return found


def unknown_migrations(contents: Contents) -> set[tuple[str, str]]:
    """Migrations of a newer release, which this one cannot take back."""
    loader = MigrationLoader(None)
    return contents.migrations - set(loader.disk_migrations)


def after_restore(*, now: datetime, zone: str) -> str:
    """SQL that both engines take: mails are held, and calendars move on rather than back.

    A mail that was waiting may have gone out since the backup, so a person decides. It runs
    before anybody can see the restored rows, so that no sender is quicker. `zone` is what the
    engine wants behind a moment in UTC.
    """
    moment = f"{now.astimezone(UTC):%Y-%m-%d %H:%M:%S}{zone}"
    return f"""\
UPDATE dispatch_notice SET state = 'held', lease_until = NULL WHERE state IN ('pending', 'sending');
UPDATE dispatch_calendarentry SET sequence = sequence + {SEQUENCE_STEP}, changed_at = '{moment}';
"""  # noqa: S608  nothing in it was typed by anybody
