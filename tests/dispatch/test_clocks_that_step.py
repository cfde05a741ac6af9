"""Mail by a clock that stands still, is put back or forth an hour, or ticks twice at once.

However the rounds of background work come, each letter goes out once; and each is there at the
end, for a round looks at what is due and not at what the last round did.
"""

from collections import Counter
from datetime import date, time, timedelta

import pytest
from django.core import mail
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dispatch.models import Claim, Notice, NoticeState
from dispatch.services import due_letters, sending
from tests import builders
from tests.dispatch.days import book

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
# On both nights of 2026 on which the clocks of the United States change (Energy Policy Act of
# 2005), and on ordinary days: the day of the work, 7 AM there.
MORNINGS = [(2026, 3, 8), (2026, 11, 1), (2026, 7, 7)]
STEPS = st.lists(
    st.sampled_from([0.0, 0.1, 1.0, 1.0, 2.0, 5.0, 9.0, -1.0]), min_size=4, max_size=30
)


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("morning", MORNINGS)
def test_each_letter_goes_out_once_however_the_clock_goes(morning, transactional_db):
    branch = builders.branch(weekdays=[*range(7)])
    crew = builders.crew(of=branch)
    start = branch.at(date(*morning), time(7))

    @settings(
        max_examples=6,
        deadline=None,
        derandomize=True,
        suppress_health_check=list(HealthCheck),
    )
    @given(STEPS)
    def rounds(steps):
        mail.outbox.clear()
        floor = book(branch, crew, start, now=start - 20 * DAY)
        now = start - 20 * DAY
        for hours in [*(12 * step for step in steps), *[24.0] * 20]:
            now = min(now + hours * HOUR, start - HOUR)
            for _ in range(2):  # two clocks
                due_letters.owe_due(now=now)
                sending.send_due(now=now)
        told = Notice.objects.filter(booking=floor, audience="customer")
        kinds = Counter(told.values_list("kind", flat=True))
        sent = told.filter(state=NoticeState.SENT).count()

        assert set(kinds.values()) == {1}
        assert "week_before" in kinds
        assert len(mail.outbox) == sent == sum(kinds.values())
        floor.stints.all().update(state="called_off")
        floor.state = "called_off"
        floor.save()
        Claim.objects.all().delete()

    rounds()
