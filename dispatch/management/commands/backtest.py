"""`manage.py backtest`: a season of real hours under each way of deciding, and what it came to."""

import json
from argparse import ArgumentParser
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from dispatch.backtest.picture import losses_svg
from dispatch.backtest.playing import POLICIES, seasons
from dispatch.backtest.real_hours import STATIONS, NoRealHours, Station, real_hours
from dispatch.backtest.reliability import samples, tables
from dispatch.backtest.scenario import Scenario
from dispatch.backtest.skill import skill_rows
from dispatch.backtest.tally import counts
from dispatch.backtest.telling import (
    odds_lines,
    odds_values,
    season_lines,
    season_values,
    skill_lines,
    skill_values,
)
from dispatch.backtest.world import World


class Command(BaseCommand):
    """Plays and prints; touches no database."""

    help = "Hold forecasts, verdicts, odds and offers against a year of real hours (2013)."
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        """What is held against the year, where, and how much of it."""
        parser.add_argument("--quick", action="store_true", help="two months instead of nine")
        parser.add_argument("--station", default="EWR", help="EWR, JFK or LGA")
        parser.add_argument("--seed", type=int, default=1, help="one world more for each seed")
        parser.add_argument(
            "--policies", default="".join(POLICIES), help=f"letters of {', '.join(POLICIES)}"
        )
        parser.add_argument("--odds", action="store_true", help="whether odds come true, instead")
        parser.add_argument("--skill", action="store_true", help="the forecasts' skill, instead")
        parser.add_argument("--svg", type=Path, help="write the picture of losses to this file")
        parser.add_argument("--json", action="store_true", help="print JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        """One of the three tables."""
        try:
            lines, values = self._told(_station(options["station"]), options)
        except NoRealHours as refusal:
            raise CommandError(str(refusal)) from refusal
        if options["json"]:
            self.stdout.write(json.dumps(values, indent=2))
            return
        for line in lines:
            self.stdout.write(line)

    def _told(self, station: Station, options: dict[str, Any]) -> tuple[Iterable[str], Any]:
        seed = options["seed"]
        scenario = Scenario.read(quick=options["quick"])
        if options["skill"]:
            rows = list(skill_rows(real_hours(station, seed=seed), seed=seed))
            return skill_lines(rows), skill_values(rows)
        if options["odds"]:
            world = World.of(station, seed=seed)
            found = tables(samples(world, scenario, seed=seed))
            return odds_lines(found), odds_values(found)
        letters = _letters(options["policies"])
        told = [
            counts(each, seed=seed)
            for each in seasons(station, scenario, seed=seed, letters=letters)
        ]
        if options["svg"]:
            options["svg"].write_text(losses_svg(told), encoding="utf-8")
        return season_lines(told), season_values(told)


def _station(code: str) -> Station:
    for station in STATIONS:
        if station.code == code.upper():
            return station
    known = ", ".join(station.code for station in STATIONS)
    raise CommandError(f"There is no station {code!r}. There are: {known}.")


def _letters(text: str) -> list[str]:
    wanted = [letter for letter in text if letter.isalpha()]
    unknown = [letter for letter in wanted if letter not in POLICIES]
    if unknown or not wanted:
        raise CommandError(f"Policies are named by letters: {', '.join(POLICIES)}.")
    return wanted
