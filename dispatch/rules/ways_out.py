"""Ways out: what can be done about a verdict, most useful first."""

from collections.abc import Iterator, Sequence
from datetime import timedelta

from dispatch.rules.findings import Check, Level, Scene
from dispatch.rules.last_pour import LastPour, first_later_pour

PREPARE_ONLY = "Prepare only: grind and repair, coat another day."
METER_FIRST = "Meter first: slab temperature, dew point and moisture at the coldest, dampest place."
DOOR_SHUT = "Keep the door shut and dry the air until the slab is above the dew point."
SMALL_BATCHES = "Mix smaller batches and keep the sun off the slab."
HEAT = "Heat the slab with vented or electric heat before and after, and measure again."
LATE_DRIVE_ON = "Promise a later drive-on."
ASK_AGAIN = "Ask the forecast services again, or another one."


def ways_out(
    scene: Scene,
    *,
    checks: Sequence[Check],
    last: LastPour | None,
    slack_min: int | None,
) -> tuple[str, ...]:
    """Every way out that the checks leave open, each once."""
    bad = [check for check in checks if check.level is not Level.GO]
    found = [
        *_another_start(scene, bad, last, slack_min),
        *_for_names(scene, bad),
        *_cover(scene, bad),
        *_prepare_only(scene, bad, last, slack_min),
    ]
    return tuple(dict.fromkeys(found))


def _another_start(
    scene: Scene, bad: Sequence[Check], last: LastPour | None, slack_min: int | None
) -> Iterator[str]:
    """Start later or earlier, where another pour would hold or the slack is short."""
    if any(check.level is Level.NO for check in bad):
        later = first_later_pour(scene)
        if later is not None:
            yield f"Start later: pour from {scene.words.clock(later)}."
    if last is None or slack_min is None:
        return
    if slack_min < 0:
        yield f"Start earlier: pour by {scene.words.clock(last.at)}."
    elif slack_min < scene.thresholds.prepare_only_slack_min:
        yield f"Start earlier, or with more hands: {slack_min} min are in hand."


def _for_names(scene: Scene, bad: Sequence[Check]) -> Iterator[str]:
    """What each trouble asks for by itself."""
    names = {check.name for check in bad}
    enclosed = any(surface.exposure.enclosed for surface in scene.surfaces)
    slabs = [check for check in bad if check.name == "slab"]
    warm = [check for check in slabs if check.level is Level.CARE and _hot(scene, check)]
    cold = [check for check in slabs if _cold(scene, check)]
    if _meter(scene, bad) or any(surface.weak for surface in scene.surfaces):
        yield METER_FIRST
    if "dew" in names and enclosed:
        yield DOOR_SHUT
    if warm:
        yield SMALL_BATCHES
    if cold and enclosed:
        yield HEAT
    if "night" in names:
        yield from (HEAT, LATE_DRIVE_ON) if enclosed else (LATE_DRIVE_ON,)
    if "forecast" in names:
        yield ASK_AGAIN


def _meter(scene: Scene, bad: Sequence[Check]) -> bool:
    """Whether a reading would tell more: a slab near a limit, or one wetted of late."""
    damp = [check for check in bad if check.name in {"dew", "dryness"}]
    if any(check.level is Level.NO for check in damp):
        return False  # a reading does not dry the slab
    near = bool(damp)
    if near or scene.dryness is None or scene.dryness.metered:
        return near
    recent = scene.plan.pour - timedelta(hours=2 * scene.thresholds.dry_care_h)
    return any(part.wetted_at and part.wetted_at > recent for part in scene.dryness.parts)


def _hot(scene: Scene, check: Check) -> bool:
    return check.value is not None and check.value > scene.card.slab_amber_above_c


def _cold(scene: Scene, check: Check) -> bool:
    return check.value is not None and check.value < scene.card.slab_amber_below_c


def _cover(scene: Scene, bad: Sequence[Check]) -> Iterator[str]:
    """A cover against rain, where no gust of the wet window would tear it off."""
    if not any(check.name == "rain" and check.value is not None for check in bad):
        return
    if scene.plan.rain_safe is None:
        return
    gusts = scene.stretch("gust_kmh", scene.plan.pour, scene.plan.rain_safe)
    top, limit = gusts.highest(), scene.thresholds.canopy_gust_kmh
    if top is None or gusts.missing() is not None or top[1] > limit:
        return
    say = scene.words
    yield (
        f"Canopy or tarp on a ridge: gusts reach {say.wind(top[1])}, it holds to {say.wind(limit)}."
    )


def _prepare_only(
    scene: Scene, bad: Sequence[Check], last: LastPour | None, slack_min: int | None
) -> Iterator[str]:
    """Preparing without coating, which loses a trip and not a floor."""
    if last is not None:
        yield (f"{PREPARE_ONLY[:-1]}, if resin is not down by {scene.words.clock(last.at)}.")
    elif slack_min is None and bad:
        yield PREPARE_ONLY
