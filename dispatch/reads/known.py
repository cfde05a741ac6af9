"""What must be known of an order before its day is confirmed, and what was said of it so far."""

from dataclasses import dataclass
from datetime import datetime

from jobs.models import Job
from jobs.rules.must_know import ASKS, NAMES, Standing, Topic, not_known, told, topics

TOLD = "As noted with the order."


@dataclass(frozen=True)
class Line:
    """One question, and how it stands."""

    topic: Topic
    ask: str
    said: str  # empty where nobody has said anything yet

    @property
    def name(self) -> str:
        """What it is about, in a word or two."""
        return NAMES[self.topic]


@dataclass(frozen=True)
class Known:
    """All questions of an order, and the sentence that names what is missing."""

    lines: tuple[Line, ...]
    missing: str


def known_of(job: Job, *, now: datetime) -> Known:
    """The questions of one order."""
    today = job.branch.today(now)
    subject = job.subject(today=today)
    rows = {Topic(each.topic): each for each in job.questions.all()}
    by_itself = told(subject)
    lines = []
    for topic in topics(subject):
        said = TOLD if topic in by_itself else ""
        if topic in rows:
            not_needed = rows[topic].standing == Standing.NOT_NEEDED
            said = f"{'Not needed. ' if not_needed else ''}{rows[topic].answer}".strip()
        lines.append(Line(topic, ASKS[topic], said))
    return Known(tuple(lines), not_known(job.missing(today=today)))
