"""A backup of the whole database, while the office works."""

import json
from argparse import ArgumentParser
from dataclasses import asdict
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from dispatch.backups.contents import BackupRefused
from dispatch.backups.making import make


class Command(BaseCommand):
    """Copy, prove, encrypt if a key is set, and name the file."""

    help = "Make a proved backup of the database; encrypted if SLABCAST_BACKUP_KEY is set."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--to", type=Path, default=None, help="folder to write to")
        parser.add_argument("--json", action="store_true", help="print what was made as JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        folder = options["to"] or settings.BACKUP_DIR
        try:
            made = make(folder=folder, key=settings.BACKUP_KEY, now=timezone.now())
        except BackupRefused as refusal:
            raise CommandError(str(refusal)) from refusal
        if options["json"]:
            self.stdout.write(json.dumps(asdict(made)))
            return
        kind = "encrypted" if made.encrypted else "not encrypted"
        self.stdout.write(
            f"{made.file}: {made.bytes:,} bytes, {kind}, {made.rows['dispatch_booking']:,} "
            f"bookings, proved in {made.seconds} s."
        )
