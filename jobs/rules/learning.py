"""Learning: rates and set times from the log of past days, drawn towards the defaults.

A few floors say little, so what they say is mixed with what is assumed: the default counts
as much as `PRIOR_FLOORS` floors would. That is shrinkage in its plainest form (a ridge
around the default, or the posterior mean under a normal prior).
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import exp, isfinite, log
from statistics import median

from jobs.rules.rates import Pace, Rates

PRIOR_FLOORS = 6  # how many floors the default is worth; a judgement
# A day that took under a third or over three times as long was logged wrong, or was no
# ordinary day; it says nothing of a crew's pace.
BELIEVED = 3.0
PREPARE, COAT, SET, PACK = "prepare", "coat", "set", "pack"
PARTS = (PREPARE, COAT, SET, PACK)
WHOLE_BRANCH = ""


@dataclass(frozen=True)
class DayLog:
    """One floor as it went, in hours: planned at the rates in force, and real by its stamps.

    Preparing is arriving to pour, coating is pour to the top done with the wait inside,
    packing is the top done to leaving. None where a stamp is missing.
    """

    crew: str
    prepare_h: float
    hands_h: float  # base, scrape and top
    wait_h: float
    pack_h: float
    real_prepare_h: float | None = None
    real_coat_h: float | None = None
    real_pack_h: float | None = None


@dataclass(frozen=True)
class Learnt:
    """A factor on the planned hours (1 is as planned) and how many floors stand behind it."""

    factor: float
    floors: int
    left_out: int = 0


def shrunk(ratios: Sequence[float], *, prior_floors: float = PRIOR_FLOORS) -> Learnt:
    """The factor that these ratios of real to planned hours teach; 1 where there are none.

    Ratios are compared by their logarithm, so that half and double weigh alike, and by their
    median, so that one bad day does not count.
    """
    good = [ratio for ratio in ratios if _believed(ratio)]
    if not good:
        return Learnt(1.0, 0, left_out=len(ratios))
    weight = len(good) / (len(good) + prior_floors)
    said = median(log(ratio) for ratio in good)
    return Learnt(exp(weight * said), len(good), left_out=len(ratios) - len(good))


def hands_and_wait(
    logs: Sequence[DayLog], *, prior_floors: float = PRIOR_FLOORS
) -> tuple[Learnt, Learnt]:
    """Factors of hands and of the set, from coatings of which only start and end are known.

    Least squares of real = a hands + b wait around a = b = 1: floors of unlike size and
    temperature tell the two apart, and where they cannot, both move alike.
    """
    rows = [(log_.hands_h, log_.wait_h, log_.real_coat_h) for log_ in logs]
    told = [(h, w, real) for h, w, real in rows if real is not None and h + w > 0]
    good = [(h, w, real - h - w) for h, w, real in told if _believed(real / (h + w))]
    out = len(told) - len(good)
    if not good:
        return Learnt(1.0, 0, out), Learnt(1.0, 0, out)
    hh, ww = sum(h * h for h, _, _ in good), sum(w * w for _, w, _ in good)
    hw = sum(h * w for h, w, _ in good)
    hd, wd = sum(h * d for h, _, d in good), sum(w * d for _, w, d in good)
    hh, ww = hh * (1 + prior_floors / len(good)), ww * (1 + prior_floors / len(good))
    if hh <= 0 or ww <= 0:  # a floor without any wait teaches the hands alone
        a, b = (hd / hh if hh > 0 else 0.0), (wd / ww if ww > 0 else 0.0)
    else:
        whole = hh * ww - hw * hw
        a, b = (hd * ww - wd * hw) / whole, (wd * hh - hd * hw) / whole
    return Learnt(_bounded(1 + a), len(good), out), Learnt(_bounded(1 + b), len(good), out)


def learn(logs: Iterable[DayLog]) -> dict[str, dict[str, Learnt]]:
    """Factors by crew and part of the day; under `WHOLE_BRANCH` those of all crews."""
    by_crew: dict[str, list[DayLog]] = {WHOLE_BRANCH: []}
    for day in logs:
        by_crew[WHOLE_BRANCH].append(day)
        by_crew.setdefault(day.crew, []).append(day)
    return {crew: _parts(days) for crew, days in by_crew.items()}


def with_learnt(rates: Rates, factors: Mapping[str, float]) -> Rates:
    """`rates` with what was learnt. A set is never taken as shorter than the data sheet's."""
    prepare, coat = factors.get(PREPARE, 1.0), factors.get(COAT, 1.0)
    return replace(
        rates,
        set_up_h=rates.set_up_h * prepare,
        mask_h=rates.mask_h * prepare,
        grind=_slower(rates.grind, prepare),
        edge_m_per_h=rates.edge_m_per_h / prepare if rates.edge_m_per_h else None,
        crack_m_per_h=rates.crack_m_per_h / prepare if rates.crack_m_per_h else None,
        spall_h=rates.spall_h * prepare,
        prove_h=rates.prove_h * prepare,
        vacuum=_slower(rates.vacuum, prepare),
        stem_m_per_h=rates.stem_m_per_h / prepare,
        step_h=rates.step_h * prepare,
        base=_slower(rates.base, coat),
        scrape=_slower(rates.scrape, coat),
        top=_slower(rates.top, coat),
        pack_h=rates.pack_h * factors.get(PACK, 1.0),
        set_factor=max(1.0, factors.get(SET, 1.0)),
    )


def _parts(days: Sequence[DayLog]) -> dict[str, Learnt]:
    def ratios(planned: str, real: str) -> list[float]:
        pairs = [(getattr(day, planned), getattr(day, real)) for day in days]
        return [told / plan for plan, told in pairs if told is not None and plan > 0]

    hands, wait = hands_and_wait(days)
    return {
        PREPARE: shrunk(ratios("prepare_h", "real_prepare_h")),
        COAT: hands,
        SET: wait,
        PACK: shrunk(ratios("pack_h", "real_pack_h")),
    }


def _slower(pace: Pace, factor: float) -> Pace:
    return Pace(
        fixed_h=pace.fixed_h * factor,
        m2_per_h=pace.m2_per_h / factor if pace.m2_per_h else None,
        least_h=pace.least_h * factor,
    )


def _believed(ratio: float) -> bool:
    return isfinite(ratio) and 1 / BELIEVED <= ratio <= BELIEVED


def _bounded(factor: float) -> float:
    return min(max(factor, 1 / BELIEVED), BELIEVED)
