"""Thresholds: where a verdict turns from go to care and to no, for one branch.

The limits of a coating (temperature, humidity, spread over the dew point) are on its card;
these are the limits of weather, of the office's own courage and of old forecasts.
"""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Thresholds:
    """Limits a branch may set. Chances in %, amounts in mm, gusts in km/h, times in hours."""

    # Open floors. The cost of moving a job against that of grinding off a ruined floor puts
    # the line far below the 50 % at which painters stay away: common practice.
    rain_care_pct: float = 15.0
    rain_no_pct: float = 30.0
    rain_slack_min: int = 30
    rain_total_care_mm: float = 0.2
    rain_hour_no_mm: float = 0.5

    # Under a roof with open sides rain arrives with wind only: common practice.
    roofed_care_pct: float = 40.0
    roofed_no_pct: float = 60.0
    roofed_gust_kmh: float = 25.0

    # 15 mph carries leaves and insects, 25 mph is where exterior coaters stop: common
    # practice. Flake is light, so the lines are lower while it flies.
    gust_care_kmh: float = 24.0
    gust_no_kmh: float = 40.0
    flake_gust_care_kmh: float = 15.0
    flake_gust_no_kmh: float = 25.0
    # Pop-up canopies come down at 20 mph.
    canopy_gust_kmh: float = 32.0
    # A curtain or a tarp that is tied down on all sides stands a fresh breeze: common practice.
    curtain_gust_kmh: float = 40.0

    # Water that runs to a door, or drips from an edge, comes with a real shower: common
    # practice. From 2.5 mm an hour on rain is called moderate (American Meteorological
    # Society, Glossary of Meteorology).
    door_water_care_pct: float = 30.0
    door_water_no_pct: float = 60.0
    door_water_no_mm: float = 2.5
    drips_h: float = 2.0

    # An hour with this much rain wets a slab; a chance this high may have.
    wetting_mm: float = 0.1
    dry_no_h: float = 24.0
    dry_care_h: float = 48.0
    # Where nobody wrote down when the slab looked dry, one day more.
    dry_unseen_h: float = 72.0

    # So far below the card's highest humidity the verdict says care.
    humidity_care_below_pct: float = 10.0

    age_care_h: float = 12.0
    age_unknown_h: float = 24.0

    # From so far apart on a second service is shown beside the first: our choice, above the
    # 10 to 17 points by which two issues of one service differ.
    second_chance_points: float = 30.0
    second_air_c: float = 3.0
    # Bare ground is no slab, so it must be further away to say anything.
    second_ground_c: float = 5.0

    # Out of doors the first night can be judged; what lies beyond it is told, not guessed.
    night_h: float = 24.0
    firm_h: float = 48.0
    likely_h: float = 96.0

    prepare_only_slack_min: int = 60

    # The weather watch of a confirmed day: from how many days ahead a customer hears that it may
    # move, after how many forecasts in a row, and how short before the final call no more.
    watch_days: float = 3.0
    watch_forecasts: int = 2
    watch_quiet_h: float = 2.0


DEFAULTS = Thresholds()
