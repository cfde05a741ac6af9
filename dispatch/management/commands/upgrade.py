"""Bring the database to this release, with a backup before."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from dispatch.backups.contents import BackupRefused
from dispatch.backups.upgrading import upgrade


class Command(BaseCommand):
    """Back up, then migrate; nothing to do where the database is of this release."""

    help = "Migrate the database to this release; if something is missing, back it up first."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--to", type=Path, default=None, help="folder for the backup")

    def handle(self, *args: Any, **options: Any) -> None:
        folder = options["to"] or settings.BACKUP_DIR
        try:
            done = upgrade(folder=folder, key=settings.BACKUP_KEY, now=timezone.now())
        except BackupRefused as refusal:
            raise CommandError(f"{refusal} So nothing was migrated.") from refusal
        if not done.migrations:
            self.stdout.write("The database is of this release already.")
            return
        if done.backup is not None:
            self.stdout.write(f"{done.backup.file}: as it was before.")
        self.stdout.write(f"Migrated: {', '.join(done.migrations)}.")
