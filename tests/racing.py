"""Many real processes that do one thing at the same instant, against one real database."""

import multiprocessing
from collections.abc import Callable
from typing import Any

from django.db import connections

from jobs.refusals import Refusal

PATIENCE_S = 60


def race(count: int, work: Callable[[int], Any]) -> list[tuple[str, str]]:
    """Run `work(number)` in `count` processes at once; for each ("ok" or a refusal's code, text).

    Anything but a refusal comes back as ("broken", what went wrong).
    """
    connections.close_all()  # a forked child must never share its parent's connection
    context = multiprocessing.get_context("fork")
    barrier, answers = context.Barrier(count), context.Queue()

    def child(number: int) -> None:
        barrier.wait(PATIENCE_S)
        try:
            answer = ("ok", str(work(number)))
        except Refusal as refusal:
            answer = (refusal.code, str(refusal))
        except Exception as trouble:  # noqa: BLE001  the parent's assertion shows it
            answer = ("broken", repr(trouble))
        finally:
            connections.close_all()
        answers.put(answer)

    children = [context.Process(target=child, args=(number,)) for number in range(count)]
    for each in children:
        each.start()
    found = [answers.get(timeout=PATIENCE_S) for _ in children]
    for each in children:
        each.join(PATIENCE_S)
    return found
