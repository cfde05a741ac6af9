"""Putting a backup back: proved first, then all of it or nothing, with mails held."""

import tempfile
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from django.core.management import call_command
from django.db import connection, connections
from django.db.migrations.executor import MigrationExecutor

from dispatch.backups import postgres_dump, sqlite_file
from dispatch.backups.contents import BackupRefused, Contents, unknown_migrations
from dispatch.backups.making import engine, plain_copy
from dispatch.models import Notice, NoticeState

NAMES = {sqlite_file.MAGIC: "SQLite", postgres_dump.MAGIC: "PostgreSQL"}


@dataclass(frozen=True)
class Restored:
    """What is in place now. `former` is where the database that was there before lies."""

    rows: dict[str, int]
    held: int
    migrated: bool
    former: Path | None


def restore(file: Path, *, key: str, now: datetime) -> Restored:
    """Make the backup `file` the database that is in use, or refuse and change nothing."""
    kind = engine()
    if not file.is_file():
        raise BackupRefused(f"There is no file {file}.")
    with (
        tempfile.TemporaryDirectory(prefix=".restore-", dir=kind.scratch()) as scratch,
        plain_copy(file, key=key, folder=Path(scratch)) as plain,
    ):
        contents = _proved(plain)
        connections.close_all()
        former = kind.put_in_place(plain, now=now)
    migrated = _behind()
    if migrated:
        call_command("migrate", interactive=False, verbosity=0)
    held = Notice.objects.filter(state=NoticeState.HELD).count()
    return Restored(rows=contents.counts, held=held, migrated=migrated, former=former)


def _proved(plain: Path) -> Contents:
    """The contents of a backup that may be put in place."""
    kind = engine()
    with plain.open("rb") as source:
        beginning = source.read(16)
    made_by = next((name for magic, name in NAMES.items() if beginning.startswith(magic)), None)
    if made_by is None:
        raise BackupRefused("This is no backup of Slabcast, or its beginning is damaged.")
    if made_by != NAMES[kind.MAGIC]:
        raise BackupRefused(
            f"This is a backup of {made_by}, and the database is {NAMES[kind.MAGIC]}."
        )
    contents: Contents = kind.examine(plain)
    if contents.faults:
        raise BackupRefused(" ".join(contents.faults))
    if newer := unknown_migrations(contents):
        names = ", ".join(sorted(f"{app}.{name}" for app, name in newer))
        raise BackupRefused(f"The backup is of a newer release: this one does not know {names}.")
    return contents


def _behind() -> bool:
    """Whether the backup is of an older release."""
    executor = MigrationExecutor(connection)
    return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))
