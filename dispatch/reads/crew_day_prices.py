"""What a crew-day is worth to the other floors of a branch: one input of the search for days."""

from datetime import date

import numpy as np

from dispatch.reads.staffing import Staffing
from dispatch.rules.screening import Money


def crew_day_prices(staff: Staffing, *, first_day: date, days: int) -> Money:
    """Money by day and crew, in the order of `staff.crews`: the duals of the last plan.

    Zero until a plan has been kept for the branch: then nobody else is known to want the day.
    """
    return np.zeros((days, len(staff.crews)))
