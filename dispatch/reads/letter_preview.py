"""A letter as it would look, for an invented customer of the branch."""

from datetime import UTC, datetime, timedelta

from dispatch.models import NoticeKind
from dispatch.reads.chain import thresholds_of
from dispatch.rules.letters import Facts, Told
from jobs.models import Branch
from weather.rules.exposures import Exposure

LINES = {
    NoticeKind.FINAL_CALL: ("It is on: we coat as planned.",),
    NoticeKind.WATCH: (
        "The forecast has turned, so your day may move. It stands until you hear otherwise.",
    ),
    NoticeKind.READY_EARLY: ("Everything is off the floor.", "Cars are out."),
    NoticeKind.READY_LATE: ("Everything is off the floor.", "Cars are out."),
}
REASONS = {
    NoticeKind.MOVED: "Rain from 1 PM to 6 PM",
    NoticeKind.CALLED_OFF: "Rain all day",
    NoticeKind.DRIVE_ON_LATER: "It is colder than planned",
}


def sample_facts(branch: Branch, kind: NoticeKind, *, now: datetime) -> Facts:
    """What a letter of `kind` might speak of: a garage, coated in eight days."""
    day = branch.today(now) + timedelta(days=8)
    start = branch.at(day, branch.day_starts)
    moved = kind is NoticeKind.MOVED
    was = Told(
        confirmed=True,
        starts=(start - timedelta(days=2) if moved else start,),
        drive_on_at=(start + timedelta(hours=40)).astimezone(UTC),
    )
    return Facts(
        company=branch.company,
        telephone=branch.telephone,
        customer="Sample Customer",
        floors="Garage",
        address="1 Sample Street",
        zone=branch.tz,
        exposures=(Exposure.GARAGE,),
        units=str(branch.units),
        confirmed=True,
        starts=(start,),
        pours=(start + timedelta(hours=3),),
        walk_on_at=start + timedelta(hours=24),
        drive_on_at=start + timedelta(hours=48),
        drive_on_basis="48 hours for a slab of 60 °F on average"
        if branch.units == "us"
        else "48 hours for a slab of 16 °C on average",
        page_url="https://example.invalid/c/sample/",
        why=REASONS.get(kind, ""),
        before=None if kind is NoticeKind.BOOKED else was,
        limits=thresholds_of(branch),
        lines=LINES.get(kind, ()),
    )
