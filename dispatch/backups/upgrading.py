"""Bringing the database to this release: backed up first, migrated only if that was proved."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from dispatch.backups.making import Made, make


@dataclass(frozen=True)
class Upgraded:
    """What was done: the migrations that were missing, and the backup from before them."""

    migrations: tuple[str, ...]
    backup: Made | None


def missing() -> tuple[str, ...]:
    """The migrations of this release that the database does not have, in their order."""
    executor = MigrationExecutor(connection)
    plan = executor.migration_plan(executor.loader.graph.leaf_nodes())
    return tuple(f"{migration.app_label}.{migration.name}" for migration, _ in plan)


def upgrade(*, folder: Path, key: str, now: datetime) -> Upgraded:
    """Migrate the database, with a backup in `folder` before. Raises BackupRefused.

    SQLite copies whole tables to change them, and a step back may lose what a new column
    held: so there is a way back before there is a way on. An empty database needs none.
    """
    wanted = missing()
    if not wanted:
        return Upgraded((), None)
    backup = make(folder=folder, key=key, now=now) if _holds_an_office() else None
    call_command("migrate", interactive=False, verbosity=0)
    return Upgraded(wanted, backup)


def _holds_an_office() -> bool:
    return "dispatch_booking" in connection.introspection.table_names()
