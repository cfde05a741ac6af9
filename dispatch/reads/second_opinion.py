"""The second service's opinion on a plan, where it parts from the one the verdict rests on."""

from dataclasses import replace
from datetime import timedelta
from math import isnan

from dispatch.reads.chain import Setting
from dispatch.rules.second_opinion import ground_sentence, second_sentence
from dispatch.rules.words import Words
from jobs.rules.plan import Plan
from weather.models import Forecast
from weather.providers import TITLES
from weather.reads import bare_ground_c, second_forecast
from weather.rules.differences import differences
from weather.rules.exposures import Exposure
from weather.rules.hours import Hours

NEAR = timedelta(days=3)


class SecondOpinion:
    """Reads the second forecast once and holds any number of plans against it."""

    def __init__(self, setting: Setting) -> None:
        self.setting = setting
        self._told: tuple[str, Hours] | None = None
        self._both: list[Forecast] = []
        if setting.forecast is not None:
            found = second_forecast(setting.forecast.place, now=setting.now)
            self._told = (found.source, found.hours()) if found else None
            self._both = [setting.forecast, *([found] if found else [])]

    def on(self, plan: Plan) -> str:
        """What differs in the plan's hours, in sentences; empty where nothing does, or far off."""
        if plan.start - self.setting.now > NEAR:
            return ""
        words = Words(
            zone=self.setting.zone,
            units=self.setting.units,
            day=plan.pour.astimezone(self.setting.zone).date(),
        )
        return " ".join(
            each for each in (self._sky(plan, words), self._ground(plan, words)) if each
        )

    def _sky(self, plan: Plan, words: Words) -> str:
        if self._told is None:
            return ""
        source, hours = self._told
        mine, end = self.setting.hours, plan.rain_safe or plan.end
        limits = self.setting.thresholds
        set_amounts = {"chance_points": limits.second_chance_points, "air_c": limits.second_air_c}
        # Rain matters from the pour on; what is cold or hot matters all day.
        wet = differences(mine, hours, start=plan.pour, end=end, **set_amounts)
        day = differences(mine, hours, start=plan.start, end=end, **set_amounts)
        return second_sentence(
            replace(wet, air_c=day.air_c),
            title=TITLES.get(source, source),
            words=words,
            open_floor=any(not ground.exposure.enclosed for ground in self.setting.grounds),
        )

    def _ground(self, plan: Plan, words: Words) -> str:
        """Only slabs under the open sky are held against bare ground."""
        slabs = [g.slab for g in self.setting.grounds if g.exposure is Exposure.OPEN]
        told = [
            (forecast.source, ground_c)
            for forecast in self._both
            if not isnan(ground_c := bare_ground_c(forecast, plan.pour))
        ]
        if not slabs or not told:
            return ""
        source, ground_c = told[0]
        return ground_sentence(
            ground_c=ground_c,
            slab_c=slabs[0].at_c(plan.pour),
            most_c=self.setting.thresholds.second_ground_c,
            title=TITLES.get(source, source),
            words=words,
        )
