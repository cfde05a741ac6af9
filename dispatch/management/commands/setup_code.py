"""The code that opens the first office on the page of an empty installation."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from dispatch.services.opening import is_empty, setup_code


class Command(BaseCommand):
    """Print the set-up code; only somebody with access to the server can run this."""

    help = "Print the code that the page of an empty installation asks for."

    def handle(self, *args: Any, **options: Any) -> None:
        if not is_empty():
            raise CommandError("This installation is set up already. Please sign in.")
        self.stdout.write(setup_code())
