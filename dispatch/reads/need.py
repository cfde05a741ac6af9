"""One thing that waits for a person, whatever it is about."""

from dataclasses import dataclass
from datetime import datetime

# What it is about, in a word or two; this is also the order in which they are shown.
SUBJECTS = {
    "weather": "Weather",
    "final": "Final call",
    "morning": "Morning check",
    "ring": "Ring",
    "receipt": "Crew has not confirmed",
    "car": "Needed before drive-on",
    "customer": "Customer's wish",
    "ready": "Must be ready",
    "stock": "Short in stock",
    "confirm": "Day to confirm",
    "known": "Must be known",
    "hold": "Hold",
    "mail": "Mail",
}
ORDER = {kind: number for number, kind in enumerate(SUBJECTS)}


@dataclass(frozen=True)
class Need:
    """One thing a person must decide, with the best ready answer."""

    kind: str
    level: str
    title: str
    reason: str
    answer: str
    answer_url_name: str
    answer_pk: int | str
    when: datetime
    telephone: str = ""
    post: bool = False
    version: int = 0
    booking: int | None = None  # whose it is, where one thing must not be shown twice

    @property
    def subject(self) -> str:
        """What it is about, in a word or two."""
        return SUBJECTS[self.kind]
