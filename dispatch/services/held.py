"""Mails that were held back after a restore, until a person lets them go."""

from datetime import datetime

from dispatch.models import Notice, NoticeState
from jobs.models import Branch
from jobs.writing import run_write


@run_write
def release(*, now: datetime, branch: Branch | None = None) -> int:
    """Let the held mails of `branch`, or of all, go out; return how many.

    What the booking has overtaken since is dropped when its turn comes, as ever.
    """
    held = Notice.objects.filter(state=NoticeState.HELD)
    if branch is not None:
        held = held.of_branch(branch)
    return held.update(state=NoticeState.PENDING, next_try_at=now, attempts=0, lease_until=None)
