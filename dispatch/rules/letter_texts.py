"""The branch's own words around a letter: checked line by line, and filled in.

A text may name words in braces. `{letter}` stands for everything the program says, days, times
and promises among it; a text must hold it on a line of its own, so that nobody edits it away.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from dispatch.rules.letters import SUBJECT_LETTERS, Block, Facts, Letter
from dispatch.rules.plain_text import clean, one_line
from jobs.rules.clock import say_moment

LETTER = "letter"
WORDS = {
    "customer": "the customer's name",
    "company": "your company",
    "telephone": "your telephone",
    "floors": "the floors by name",
    "address": "the address of the site",
    "when": "the day or days; the week while no day is confirmed",
    "was": "the day or week told before",
    "walk_on": "day and time of walk-on",
    "drive_on": "day and time of drive-on",
    "why": "the reason of a change",
    "subject": "the program's own subject",
}
BODY_LETTERS = 4000
OWN_BODY = "Hello {customer},\n\n{letter}"
_WORD = re.compile(r"\{([^{}\n]*)\}")


@dataclass(frozen=True)
class Fault:
    """What is wrong with a text, and in which line of it (from 1)."""

    line: int
    reason: str

    def __str__(self) -> str:
        return f"Line {self.line}: {self.reason}"


def subject_faults(subject: str) -> list[Fault]:
    """What is wrong with a subject; an empty one is the program's own."""
    if not subject.strip():
        return []
    found = list(_faults(1, subject))
    if "\n" in subject or "\r" in subject:
        found.append(Fault(1, "a subject is one line."))
    if len(subject) > SUBJECT_LETTERS:
        found.append(Fault(1, f"{len(subject)} letters; a subject has {SUBJECT_LETTERS} at most."))
    if f"{{{LETTER}}}" in subject:
        found.append(Fault(1, "{letter} is the whole letter and stands in the text."))
    return found


def body_faults(body: str) -> list[Fault]:
    """What is wrong with a text; an empty one is the program's own."""
    if not body.strip():
        return []
    lines = clean(body).split("\n")
    found = [fault for number, line in enumerate(lines, 1) for fault in _faults(number, line)]
    if len(body) > BODY_LETTERS:
        found.append(Fault(len(lines), f"{len(body)} letters; {BODY_LETTERS} are the most."))
    holding = [number for number, line in enumerate(lines, 1) if f"{{{LETTER}}}" in line]
    if not holding:
        found.append(Fault(len(lines), "{letter} is missing; it carries days, times and promises."))
    found += [Fault(again, "{letter} stands here a second time.") for again in holding[1:]]
    for number in holding:
        if lines[number - 1].strip() != f"{{{LETTER}}}":
            found.append(Fault(number, "{letter} needs a line of its own."))
    return found


def worded(letter: Letter, facts: Facts, *, subject: str, body: str) -> Letter:
    """`letter` in the branch's words. A text with faults gives way to the program's own."""
    values = _values(letter, facts)
    if subject.strip() and not subject_faults(subject):
        named = one_line(_filled(subject, values))[:SUBJECT_LETTERS]
        letter = Letter(named, letter.said, letter.hello, letter.closing)
    if not body.strip() or body_faults(body):
        return letter
    blocks: list[Block] = []
    for paragraph in re.split(r"\n\s*\n", _apart(clean(body)).strip()):
        if paragraph.strip() == f"{{{LETTER}}}":
            blocks.extend(letter.said)
        elif paragraph.strip():
            blocks.append(Block(_filled(paragraph.strip(), values)))
    return Letter(letter.subject, tuple(blocks), closing=letter.closing)


def _apart(body: str) -> str:
    """The text with `{letter}` as a paragraph, however closely it was typed to the others."""
    return re.sub(rf"(?m)^\s*\{{{LETTER}\}}\s*$", f"\n\n{{{LETTER}}}\n\n", body)


def _faults(number: int, line: str) -> Iterator[Fault]:
    rest = _WORD.sub("", line)
    for name in _WORD.findall(line):
        if name != LETTER and name not in WORDS:
            known = ", ".join(f"{{{word}}}" for word in (LETTER, *WORDS))
            yield Fault(number, f"there is no {{{name}}}. There are {known}.")
    if "{" in rest:
        yield Fault(number, f"“{rest[rest.index('{') :][:20].strip()}” has no closing brace.")
    elif "}" in rest:
        yield Fault(number, "a closing brace stands alone.")


def _filled(text: str, values: dict[str, str]) -> str:
    return _WORD.sub(lambda found: values.get(found[1], found[0]), text)


def _values(letter: Letter, facts: Facts) -> dict[str, str]:
    def at(moment: object) -> str:
        return say_moment(moment, facts.zone) if moment else "not known yet"  # type: ignore[arg-type]

    found = {
        "customer": facts.customer,
        "company": facts.company,
        "telephone": facts.telephone,
        "floors": facts.floors,
        "address": facts.address,
        "when": facts.when,
        "was": facts.was or facts.when,
        "walk_on": at(facts.walk_on_at),
        "drive_on": at(facts.drive_on_at),
        "why": facts.why,
        "subject": letter.subject,
    }
    return {name: one_line(value) for name, value in found.items()}
