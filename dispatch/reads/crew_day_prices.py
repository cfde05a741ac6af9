"""What a crew-day is worth to the other floors of a branch: one input of the search for days."""

from datetime import date

import numpy as np

from dispatch.models import StoredPlan
from dispatch.reads.staffing import Staffing
from dispatch.rules.screening import Money


def crew_day_prices(staff: Staffing, *, first_day: date, days: int) -> Money:
    """Money by day and crew, in the order of `staff.crews`: the duals of the last plan.

    Zero where no plan says anything: then nobody else is known to want the day. A plan that was
    asked for without somebody who is booked is a "what if", so it sets no prices.
    """
    prices = np.zeros((days, len(staff.crews)))
    plan = StoredPlan.objects.of_branch(staff.branch).ready().filter(away=[]).only("prices").first()
    if plan is None or not plan.prices:
        return prices
    column = {crew.pk: position for position, crew in enumerate(staff.crews)}
    rows = [(date.fromisoformat(day) - first_day).days for day in plan.prices["days"]]
    for crew, cents in zip(plan.prices["crews"], plan.prices["cents"], strict=True):
        for row, price in zip(rows, cents, strict=True):
            if crew in column and 0 <= row < days:
                prices[row, column[crew]] = price / 100
    return prices
