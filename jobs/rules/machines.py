"""Grinders: which one the access and the power of a site allow, and how fast it goes."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from jobs.rules.rates import Rates
from jobs.rules.refusals import CannotPlan
from jobs.rules.units import M2_PER_FT2, M_PER_FT

WIDTH_M = (0.2, 3.0)
PACE_M2_PER_H = (2.0, 500.0)
VOLTS, AMPS = (100, 600), (5, 200)


class NoMachine(CannotPlan):
    """None of the machines may be used on the site; the message says what each lacks."""


@dataclass(frozen=True)
class MachineRate:
    """A grinder: what it grinds of bare concrete, and what it asks of a site.

    None is what nobody said: the branch's usual pace, and nothing that could stand in its way.
    """

    name: str
    m2_per_h: float | None = None
    width_m: float | None = None
    volts: int | None = None
    amps: int | None = None

    @property
    def asks(self) -> tuple[float, float, float]:
        """Volts, amps and width, for putting the least demanding first."""
        return self.volts or 0, self.amps or 0, self.width_m or 0


@dataclass(frozen=True)
class Access:
    """What a site has: its narrowest way in (m), and the best outlet. None is not known."""

    width_m: float | None = None
    volts: int | None = None
    amps: int | None = None


# Pace: 500 sq ft in 2 to 3 h is a published installer's figure for a small machine; 300 to
# 600 sq ft/h for a planetary one, sizes and widths: common practice. Grinders run on 110, 220
# or 460 V and 20 to 60 A (forconstructionpros.com/article/10257167).
SMALL = MachineRate("Walk-behind, 20 in", 225 * M2_PER_FT2, width_m=0.65, volts=110, amps=20)
LARGE = MachineRate("Planetary, 28 in", 400 * M2_PER_FT2, width_m=0.80, volts=220, amps=30)


def problems_of(machine: MachineRate) -> dict[str, str]:
    """What cannot be about a machine as somebody described it: a sentence for each field."""
    ranges = {
        "m2_per_h": (PACE_M2_PER_H, "A grinder does 2 to 500 m² (20 to 5,000 sq ft) an hour."),
        "width_m": (WIDTH_M, "A machine is 0.2 to 3 m (8 to 118 in) wide."),
        "volts": (VOLTS, f"A machine takes {VOLTS[0]} to {VOLTS[1]} volts."),
        "amps": (AMPS, f"A machine takes {AMPS[0]} to {AMPS[1]} amps."),
    }
    said = {name: getattr(machine, name) for name in ranges}
    return {
        name: sentence
        for name, ((low, high), sentence) in ranges.items()
        if said[name] is not None and not low <= said[name] <= high
    }


def lacks(machine: MachineRate, access: Access) -> str:
    """What stands against this machine there; empty where nothing known does."""
    if _less(access.width_m, machine.width_m):
        return f"{machine.name} does not fit through {_width(access.width_m)}"
    if _less(access.volts, machine.volts):
        return f"{machine.name} needs {machine.volts} V and there are {access.volts} V"
    if _less(access.amps, machine.amps):
        return f"{machine.name} needs {machine.amps} A and there are {access.amps} A"
    return ""


def _less(there: float | None, asked: float | None) -> bool:
    return there is not None and asked is not None and there < asked


def _width(width_m: float | None) -> str:
    shown = width_m or 0.0
    return f"{shown:.2f} m ({shown / M_PER_FT:.1f} ft)"


def allowed(
    machines: Sequence[MachineRate], access: Access, rates: Rates
) -> tuple[MachineRate, ...]:
    """The machines that may be used there, fastest first; raises NoMachine.

    A site of which nothing is known is no reason to take the big machine: of unknown width or
    power only the least demanding ones are sure to run.
    """
    fitting = [machine for machine in machines if not lacks(machine, access)]
    if not fitting:
        whys = "; ".join(lacks(machine, access) for machine in machines)
        raise NoMachine(f"No grinder can be used there: {whys or 'there is none'}.")
    if None in {access.width_m, access.volts, access.amps}:
        least = min((each.asks for each in fitting if any(each.asks)), default=None)
        fitting = [each for each in fitting if not any(each.asks) or each.asks == least]
    return tuple(sorted(fitting, key=lambda each: -pace_of(each, rates)))


def fastest(machines: Sequence[MachineRate], access: Access) -> MachineRate:
    """The fastest machine that may be used; raises NoMachine."""
    return allowed(machines, access, Rates())[0]


def pace_of(machine: MachineRate, rates: Rates) -> float:
    """What it grinds of bare concrete (m²/h): its own figure, or the branch's."""
    return machine.m2_per_h or rates.grind.m2_per_h or 0.0


def rates_with(rates: Rates, machine: MachineRate) -> Rates:
    """The branch's rates with the pace of this grinder, where it has one of its own."""
    if machine.m2_per_h is None:
        return rates
    return replace(rates, grind=replace(rates.grind, m2_per_h=machine.m2_per_h))
