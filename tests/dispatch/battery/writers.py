"""Many processes that change one calendar for a while, and some of them killed on the way."""

import os
import random
import signal
import time
from collections.abc import Callable
from multiprocessing import get_context
from pathlib import Path

from django.db import connections

from tests.dispatch.battery.histories import Log
from tests.dispatch.battery.office import Change, Office, some_change

FORK = get_context("fork")
PATIENCE_S = 60
Chooser = Callable[[Office, random.Random, str], "tuple[str, Change] | None"]


def mixed(office: Office, chance: random.Random, key: str) -> tuple[str, Change] | None:
    """The usual mixture, through the services."""
    return some_change(office, chance, key=key)


class Writers:
    """Processes that write; `kill_one` ends one and starts another.

    Each makes so many `changes`, however long they take; without a number it goes on until
    `seconds` are over.
    """

    def __init__(
        self,
        office: Office,
        folder: Path,
        *,
        count: int,
        seconds: float = 0,
        changes: int = 0,
        choose: Chooser = mixed,
        patient: bool = False,
    ) -> None:
        connections.close_all()  # a forked child must never share its parent's connection
        self.office, self.folder, self.choose, self.patient = office, folder, choose, patient
        self.until = time.monotonic() + seconds
        self.changes = changes
        self.started = 0
        self.living = [self._start() for _ in range(count)]

    def _start(self):  # the process
        self.started += 1
        process = FORK.Process(target=self._write, args=(self.started,))
        process.start()
        return process

    def _write(self, number: int) -> None:
        chance = random.Random(number)
        log = Log(self.folder, f"writer-{number}")
        turn = done = 0
        while done < self.changes if self.changes else time.monotonic() < self.until:
            turn += 1
            key = f"{number}-{turn}"
            try:
                chosen = self.choose(self.office, chance, key)
            except Exception:
                if not self.patient:  # the database is stopped on purpose
                    raise
                connections.close_all()
                time.sleep(0.1)
                continue
            if chosen is not None:
                log.run(chosen[0], key, chosen[1])
                done += 1
        connections.close_all()
        os._exit(0)  # nothing of the parent's test run is closed twice

    def kill_one(self, chance: random.Random) -> None:
        """SIGKILL for one of our own writers; another takes its place."""
        position = chance.randrange(len(self.living))
        victim = self.living[position]
        if victim.pid is not None and victim.is_alive():
            os.kill(victim.pid, signal.SIGKILL)
        victim.join(PATIENCE_S)
        self.living[position] = self._start()

    def join(self) -> None:
        """Wait until everybody has ended."""
        patience_s = PATIENCE_S * (5 if self.changes else 1)  # a slow machine takes its time
        for process in self.living:
            process.join(self.until - time.monotonic() + patience_s)
            assert process.exitcode == 0, f"a writer ended with {process.exitcode}"
