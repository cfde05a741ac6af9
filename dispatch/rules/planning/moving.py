"""What moving a customer is worth avoiding: dearer as the day nears and with every move."""

from collections.abc import Sequence
from math import exp

import numpy as np

from dispatch.rules.planning.model import Floats

# A start to be set by the office: a call for today costs as much as a lost half day of two
# people, one for the week after next hardly more than the minutes on the telephone.
LEAST, NEAR, FADES_IN_DAYS = 40.0, 210.0, 2.5
EACH_EARLIER_MOVE = 0.6  # the second move costs 1.6 of the first, the third 2.2
SHORT_NOTICE = 0.5  # of customers who said that they can come at short notice
OTHER_CREW = 5.0  # the same day with another crew: nobody is rung, but a reason is needed


def move_price(
    days_ahead: float | Sequence[float] | Floats, *, moves: int = 0, short_notice: bool = False
) -> Floats:
    """Price (the branch's money) of ringing a customer whose day is so many days ahead.

    `moves` counts how often the same customer was moved before.
    """
    ahead = np.maximum(0.0, np.asarray(days_ahead, dtype=float))
    near = LEAST + NEAR * np.array([exp(-each / FADES_IN_DAYS) for each in np.atleast_1d(ahead)])
    factor = (1 + EACH_EARLIER_MOVE * moves) * (SHORT_NOTICE if short_notice else 1.0)
    return near * factor
