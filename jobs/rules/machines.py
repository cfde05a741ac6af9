"""Grinders: which one the access and the power of a site allow, and how fast it goes."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from jobs.rules.rates import Rates
from jobs.rules.refusals import CannotPlan
from jobs.rules.units import M2_PER_FT2


class NoMachine(CannotPlan):
    """None of the machines may be used on the site; the message says what each lacks."""


@dataclass(frozen=True)
class MachineRate:
    """A grinder: what it grinds of bare concrete, and what it asks of a site."""

    name: str
    m2_per_h: float
    width_m: float
    volts: int
    amps: int


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


def lacks(machine: MachineRate, access: Access) -> str:
    """What stands against this machine there; empty where nothing known does."""
    if access.width_m is not None and access.width_m < machine.width_m:
        return f"{machine.name} does not fit through {access.width_m:.2f} m"
    if access.volts is not None and access.volts < machine.volts:
        return f"{machine.name} needs {machine.volts} V and there are {access.volts} V"
    if access.amps is not None and access.amps < machine.amps:
        return f"{machine.name} needs {machine.amps} A and there are {access.amps} A"
    return ""


def fastest(machines: Sequence[MachineRate], access: Access) -> MachineRate:
    """The fastest machine that may be used; raises NoMachine.

    A site of which nothing is known is no reason to take the big machine: of unknown width or
    power only the least demanding one is sure to run.
    """
    fitting = [machine for machine in machines if not lacks(machine, access)]
    if not fitting:
        whys = "; ".join(lacks(machine, access) for machine in machines)
        raise NoMachine(f"No grinder can be used there: {whys or 'there is none'}.")
    if None in {access.width_m, access.volts, access.amps}:
        return min(fitting, key=lambda machine: (machine.volts, machine.amps, machine.width_m))
    return max(fitting, key=lambda machine: machine.m2_per_h)


def rates_with(rates: Rates, machine: MachineRate) -> Rates:
    """The branch's rates with the pace of this grinder."""
    return replace(rates, grind=replace(rates.grind, m2_per_h=machine.m2_per_h))
