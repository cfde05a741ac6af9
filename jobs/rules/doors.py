"""Doors: when a garage's door stands open, by stage. The slab feels the air that comes in."""

from datetime import datetime

from jobs.rules.plan import Plan

Span = tuple[datetime, datetime]


def open_spans(plan: Plan) -> tuple[Span, ...]:
    """The spans (half open) for which the door stands open, in order and apart.

    It is open while hands are at work: hoses and pails go through it, resin is mixed outside
    and its vapour has to leave. It is shut while a coat sets and once the crew has gone
    (common practice).
    """
    spans: list[Span] = []
    for visit in plan.visits:
        for stage in visit.stages:
            if stage.kind.wait:
                continue
            if spans and spans[-1][1] == stage.start:
                spans[-1] = (spans[-1][0], stage.end)
            else:
                spans.append((stage.start, stage.end))
    return tuple(spans)
