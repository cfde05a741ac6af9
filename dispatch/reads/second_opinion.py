"""The second service's opinion on a plan, where it parts from the one the verdict rests on."""

from dataclasses import replace
from datetime import timedelta

from dispatch.reads.chain import Setting
from dispatch.rules.second_opinion import second_sentence
from dispatch.rules.words import Words
from jobs.rules.plan import Plan
from weather.providers import TITLES
from weather.reads import second_forecast
from weather.rules.differences import differences
from weather.rules.hours import Hours

NEAR = timedelta(days=3)


class SecondOpinion:
    """Reads the second forecast once and holds any number of plans against it."""

    def __init__(self, setting: Setting) -> None:
        self.setting = setting
        self._told: tuple[str, Hours] | None = None
        if setting.forecast is not None:
            found = second_forecast(setting.forecast.place, now=setting.now)
            self._told = (found.source, found.hours()) if found else None

    def on(self, plan: Plan) -> str:
        """One sentence where the two differ in the plan's hours; empty where not, or far off."""
        if self._told is None or plan.start - self.setting.now > NEAR:
            return ""
        source, hours = self._told
        mine, end = self.setting.hours, plan.rain_safe or plan.end
        # Rain matters from the pour on; what is cold or hot matters all day.
        limits = self.setting.thresholds
        set_amounts = {"chance_points": limits.second_chance_points, "air_c": limits.second_air_c}
        wet = differences(mine, hours, start=plan.pour, end=end, **set_amounts)
        day = differences(mine, hours, start=plan.start, end=end, **set_amounts)
        return second_sentence(
            replace(wet, air_c=day.air_c),
            title=TITLES.get(source, source),
            words=Words(
                zone=self.setting.zone,
                units=self.setting.units,
                day=plan.pour.astimezone(self.setting.zone).date(),
            ),
            open_floor=any(not ground.exposure.enclosed for ground in self.setting.grounds),
        )
