"""Letters: what a customer is told of a booked, moved or called-off day, once and in full.

A planned day is never named before it is confirmed; until then a letter names the week.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from dispatch.rules.customer_words import (
    FOR_OTHERS,
    arrival,
    parking,
    say_days,
    say_promises,
    say_weeks,
    stay_off,
    to_clear,
    use_word,
    weather_rule,
)
from dispatch.rules.plain_text import clean, one_line
from dispatch.rules.thresholds import DEFAULTS, Thresholds
from jobs.rules.clock import say_moment
from weather.rules.exposures import Exposure

SUBJECT_LETTERS = 150
FEWER = "You may have fewer mails: that page has a button. Your day stays as it is."


@dataclass(frozen=True)
class Told:
    """What the customer was told last."""

    confirmed: bool
    starts: tuple[datetime, ...]
    drive_on_at: datetime | None = None


@dataclass(frozen=True)
class Facts:
    """Everything a letter may speak of."""

    company: str
    telephone: str
    customer: str
    floors: str
    address: str
    zone: ZoneInfo
    exposures: tuple[Exposure, ...]
    units: str
    confirmed: bool
    starts: tuple[datetime, ...]
    walk_on_at: datetime | None
    drive_on_at: datetime | None
    drive_on_basis: str
    page_url: str
    why: str = ""
    only_way_in: bool = False
    needed_by: datetime | None = None  # when the customer must have the floor back
    contact: str = ""  # who is met at the site
    pours: tuple[datetime, ...] = ()
    water_off: tuple[str, ...] = ()  # what keeps other water off, each with its clock times
    before: Told | None = None
    limits: Thresholds = DEFAULTS
    lines: tuple[str, ...] = ()  # sentences of this one notice

    @property
    def when(self) -> str:
        """The day where it is confirmed, else the week."""
        return self.say(confirmed=self.confirmed, starts=self.starts)

    @property
    def was(self) -> str:
        """The same for what was told last; empty where nothing was."""
        if self.before is None or not self.before.starts:
            return ""
        return self.say(confirmed=self.before.confirmed, starts=self.before.starts)

    def say(self, *, confirmed: bool, starts: Sequence[datetime]) -> str:
        """Days or weeks in words."""
        return say_days(starts, self.zone) if confirmed else say_weeks(starts, self.zone)


@dataclass(frozen=True)
class Block:
    """A paragraph, or a heading with points under it, or a link."""

    text: str = ""
    points: tuple[str, ...] = ()
    link: str = ""


@dataclass(frozen=True)
class Letter:
    """Subject and blocks; text and HTML are made of the same blocks."""

    subject: str
    said: tuple[Block, ...]
    hello: tuple[Block, ...] = ()
    closing: tuple[Block, ...] = ()

    @property
    def blocks(self) -> tuple[Block, ...]:
        """Everything from the greeting to the name of the company."""
        return (*self.hello, *self.said, *self.closing)

    @property
    def text(self) -> str:
        """The letter as plain text."""
        parts = []
        for block in self.blocks:
            lines = [block.text] if block.text else []
            lines += [f"- {point}" for point in block.points]
            lines += [block.link] if block.link else []
            parts.append("\n".join(lines))
        return clean("\n\n".join(parts)) + "\n"


def booked(facts: Facts) -> Letter:
    """The day is confirmed; or the week is known and the day follows."""
    if facts.confirmed:
        subject = f"Your floor: {facts.when}"
        return letter(facts, subject, _day(facts, "We coat"))
    return letter(facts, f"Your floor: {facts.when}", _week(facts, "We plan to coat"))


def moved(facts: Facts) -> Letter:
    """From the old day (or week) to the new one, with the reason; the place in line is kept."""
    if not facts.was:
        return booked(facts)
    if facts.before and facts.before.starts == facts.starts:
        subject = f"Your floor: {facts.when}, with other times afterwards"
        opening = Block("We still come at the time we named; the times afterwards have changed.")
    elif facts.was == facts.when:
        subject = f"Your floor: {facts.when}, at another time"
        opening = Block(f"Your day stays {facts.when}, at another time.")
    else:
        subject = f"Your floor moves: {facts.when} (was {facts.was})"
        opening = Block(
            f"Your floor moves from {facts.was} to {facts.when}. You keep your place in line."
        )
    rest = _day(facts, "We coat") if facts.confirmed else _week(facts, "We plan to coat")
    asked = [Block("", facts.lines)] if facts.lines else []
    return letter(facts, subject, (opening, *_reason(facts), *asked, *rest))


def weather_watch(facts: Facts) -> Letter:
    """The day may move; when the last word comes. It must not read like a cancellation."""
    subject = f"Your floor: {facts.when} stands, but the weather may move it"
    return letter(facts, subject, [Block(line) for line in facts.lines], reminder=True)


def final_word(facts: Facts) -> Letter:
    """What was decided the evening before."""
    subject = f"Your floor, {facts.when}: {facts.lines[0] if facts.lines else 'decided'}"
    return letter(
        facts,
        subject,
        (*(Block(line) for line in facts.lines if line), Block("Afterwards:", promises_of(facts))),
    )


def must_be_ready(facts: Facts) -> Letter:
    """What must be ready when the crew comes, to be ticked off on the customer's page."""
    opening = Block(f"We come on {facts.when}. Please tell us on your page that this is done:")
    return letter(
        facts,
        f"Before we come on {facts.when}: please answer",
        (opening, Block("", facts.lines)),
        reminder=True,
    )


def called_off(facts: Facts) -> Letter:
    """The day is not on; the place in line is kept and a new day follows."""
    was = facts.was or facts.when
    on = "in" if was.startswith("the week") else "on"
    opening = Block(f"We are not coming {on} {was}.")
    rest = Block(
        "You keep your place in line. We come back to you with a new day; "
        "until then there is nothing to clear."
    )
    return letter(facts, f"Your floor: not {on} {was}", (opening, *_reason(facts), rest))


def drive_on_later(facts: Facts) -> Letter:
    """The floor takes longer; the old time, the new one and why."""
    new = say_moment(facts.drive_on_at, facts.zone) if facts.drive_on_at else "not known yet"
    old = facts.before.drive_on_at if facts.before else None
    was = f" instead of {say_moment(old, facts.zone)}" if old else ""
    use = use_word(facts.exposures)
    opening = Block(f"{use} from {new}{was}. Please keep cars off until then.")
    now_stand = Block("The times as they stand now:", promises_of(facts))
    blocks = (opening, *_reason(facts), *_clash(facts), now_stand, *pass_on(facts))
    return letter(facts, f"Your floor needs longer: {new}", blocks)


def _day(facts: Facts, verb: str) -> tuple[Block, ...]:
    visits = tuple(f"The crew arrives {arrival(start, facts.zone)}." for start in facts.starts)
    return (
        Block(f"{verb} your floor ({facts.floors}) at {facts.address} on {facts.when}.", visits),
        Block("Afterwards:", promises_of(facts)),
        *before_we_come(facts),
        *pass_on(facts),
        Block("Weather:", _weather(facts)),
    )


def _week(facts: Facts, verb: str) -> tuple[Block, ...]:
    visits = f" We come on {len(facts.starts)} days." if len(facts.starts) > 1 else ""
    sooner = all(exposure.enclosed for exposure in facts.exposures)
    follows = (
        "The day follows one to two weeks before."
        if sooner
        else "The day follows about three days before, when the forecast can be trusted."
    )
    return (
        Block(f"{verb} your floor ({facts.floors}) at {facts.address} in {facts.when}.{visits}"),
        Block(f"{follows} Until then there is nothing to clear."),
        Block("Weather:", _weather(facts)),
    )


def promises_of(facts: Facts) -> tuple[str, ...]:
    """Walk-on and drive-on with what they rest on."""
    return say_promises(
        walk_on_at=facts.walk_on_at,
        drive_on_at=facts.drive_on_at,
        basis=facts.drive_on_basis,
        exposures=facts.exposures,
        zone=facts.zone,
    )


def before_we_come(facts: Facts) -> tuple[Block, ...]:
    """What the customer does first, with clock times; and that the only way in is closed."""
    lines = (
        *to_clear(facts.exposures, units=facts.units),
        *parking(facts.exposures, facts.starts, facts.drive_on_at, facts.zone),
        *facts.water_off,
    )
    return (Block("Before we come:", lines),)


def pass_on(facts: Facts) -> tuple[Block, ...]:
    """What everybody else must know who comes to the door; nothing while no time is known."""
    lines = stay_off(
        facts.exposures,
        since=min(facts.pours, default=None) or min(facts.starts, default=None),
        walk_on_at=facts.walk_on_at,
        drive_on_at=facts.drive_on_at,
        only_way_in=facts.only_way_in,
        zone=facts.zone,
    )
    contact = (f"At the site we ask for {one_line(facts.contact)}.",) if facts.contact else ()
    return (Block(FOR_OTHERS, (*lines, *contact)),) if lines else ()


def _weather(facts: Facts) -> tuple[str, ...]:
    return tuple(
        dict.fromkeys(weather_rule(exposure, facts.limits) for exposure in facts.exposures)
    )


def _reason(facts: Facts) -> tuple[Block, ...]:
    return (Block(f"Why: {one_line(facts.why).rstrip('.')}."),) if facts.why.strip() else ()


def _clash(facts: Facts) -> tuple[Block, ...]:
    """That the floor is needed before it may be driven on, while there is time to act."""
    if not facts.needed_by or not facts.drive_on_at or facts.drive_on_at <= facts.needed_by:
        return ()
    needed = say_moment(facts.needed_by, facts.zone)
    return (
        Block(
            f"You told us that you need it by {needed}. That does not fit any more: please have "
            "a permit or a place to park for longer, or ring us."
        ),
    )


def letter(
    facts: Facts, subject: str, blocks: Sequence[Block], *, reminder: bool = False
) -> Letter:
    """A letter with its greeting and its end; a `reminder` says how to get fewer of them."""
    ring = f" or ring {facts.telephone}" if facts.telephone else ""
    fewer = [Block(FEWER)] if reminder else []
    return Letter(
        subject=one_line(subject)[:SUBJECT_LETTERS],
        hello=(Block(f"Hello {one_line(facts.customer)},"),),
        said=tuple(blocks),
        closing=(
            Block("This page is always current:", link=facts.page_url),
            Block(f"If something does not fit, tell us on that page{ring}."),
            *fewer,
            Block(facts.company),
        ),
    )
