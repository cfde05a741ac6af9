"""Mails that a restore held back: list them, or let them go."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from dispatch.models import Notice, NoticeState
from dispatch.services import held
from jobs.models import Branch


class Command(BaseCommand):
    """Let held mails go out with the next round."""

    help = "Let the mails go that a restore held back; --list only shows them."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--list", action="store_true", help="show them and change nothing")
        parser.add_argument("--branch", default="", help="short name of one branch")

    def handle(self, *args: Any, **options: Any) -> None:
        branch = None
        if options["branch"]:
            branch = Branch.objects.filter(slug=options["branch"]).first()
            if branch is None:
                raise CommandError(f"There is no branch {options['branch']}.")
        if options["list"]:
            self._list(branch)
            return
        count = held.release(now=timezone.now(), branch=branch)
        self.stdout.write(f"{count} mails go out with the next round.")

    def _list(self, branch: Branch | None) -> None:
        found = Notice.objects.filter(state=NoticeState.HELD).order_by("due_at", "pk")
        if branch is not None:
            found = found.of_branch(branch)
        for notice in found.select_related("booking__job__customer"):
            self.stdout.write(
                f"{notice.pk}: {notice} about {notice.booking.job.customer}, "
                f"due {notice.due_at:%Y-%m-%d %H:%M} UTC"
            )
        self.stdout.write(f"{found.count()} mails are held.")
