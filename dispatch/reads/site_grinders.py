"""The grinders that access and power of a site allow, and the floor at the pace of each."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

from dispatch.models import Machine
from dispatch.reads.chain import Setting, rates_set, with_grinders
from jobs.rules.machines import NoMachine, allowed, pace_of
from jobs.rules.rates import Rates


@dataclass(frozen=True, eq=False)
class Paced:
    """Grinders of one pace, and the chain of the floor at that pace."""

    setting: Setting
    grinders: tuple[Machine, ...]


class SiteGrinders:
    """Those of a branch's grinders that may be used at one site, fastest first."""

    def __init__(self, bare: Setting, owned: tuple[Machine, ...]) -> None:
        rates = rates_set(bare.job.branch)
        self.why_none = "" if owned else "There is no grinder in this branch yet."
        self.usable = self._usable(bare, owned, rates)
        self.setting = with_grinders(bare, self.usable[:1])
        self.by_pace = tuple(self._by_pace(rates))

    def _usable(
        self, bare: Setting, owned: tuple[Machine, ...], rates: Rates
    ) -> tuple[Machine, ...]:
        if not owned:
            return ()
        access = bare.job.site.grinder_access
        try:
            fitting = allowed([each.rate for each in owned], access, rates)
        except NoMachine as refusal:
            self.why_none = str(refusal)
            return ()
        may = (each for each in owned if each.rate in fitting)
        return tuple(sorted(may, key=lambda each: fitting.index(each.rate)))

    def _by_pace(self, rates: Rates) -> Iterator[Paced]:
        for _, several in groupby(self.usable, key=lambda each: pace_of(each.rate, rates)):
            grinders = tuple(several)
            yield Paced(with_grinders(self.setting, grinders), grinders)
