"""Put a backup back in the place of the database."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from dispatch.backups.contents import BackupRefused
from dispatch.backups.restoring import restore


class Command(BaseCommand):
    """Prove a backup, put it in place, hold mails and move calendars on."""

    help = "Replace the database by a backup. Stop the web server and the work loop first."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="what `backup` wrote")
        parser.add_argument("--yes", action="store_true", help="do not ask")

    def handle(self, *args: Any, **options: Any) -> None:
        file: Path = options["file"]
        if not options["yes"] and not self._sure(file):
            raise CommandError("Nothing was restored.")
        try:
            restored = restore(file.resolve(), key=settings.BACKUP_KEY, now=timezone.now())
        except BackupRefused as refusal:
            raise CommandError(str(refusal)) from refusal
        self.stdout.write(f"Restored {restored.rows['dispatch_booking']:,} bookings from {file}.")
        if restored.former:
            self.stdout.write(f"The database of before is kept as {restored.former}.")
        if restored.migrated:
            self.stdout.write("The backup was of an older release and has been migrated.")
        self.stdout.write(
            f"{restored.held} mails are held, for they may have gone out since the backup. "
            "`manage.py release_notices` shows them and lets them go."
        )

    def _sure(self, file: Path) -> bool:
        self.stdout.write(f"All that is in the database now gives way to {file}.")
        try:
            return input("Type yes to go on: ").strip().lower() == "yes"
        except EOFError:
            return False
