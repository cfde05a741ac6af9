"""Refusals: what was asked cannot be, said in a sentence for a person."""

from collections.abc import Mapping


class Refusal(Exception):
    """Something that was asked cannot be done. `str()` is a sentence a person can act on.

    `code` is for programs, `status` the HTTP answer, `field` the input that is at fault.
    """

    code = "refused"
    status = 400

    def __init__(self, sentence: str, *, field: str | None = None) -> None:
        super().__init__(sentence)
        self.field = field


class Busy(Refusal):
    """The database was too busy even after several tries; asking again is right."""

    code = "busy"
    status = 503


class Stale(Refusal):
    """Somebody changed the thing after the asker last saw it."""

    code = "stale"
    status = 409


class NotAllowed(Refusal):
    """The asker's role does not include this."""

    code = "not_allowed"
    status = 403


class NotFound(Refusal):
    """There is no such thing, or it belongs to a branch the asker cannot see."""

    code = "not_found"
    status = 404


class Invalid(Refusal):
    """What was typed cannot be taken in: `problems` has a sentence for every field at fault."""

    code = "invalid"
    status = 422

    def __init__(self, problems: Mapping[str, str]) -> None:
        super().__init__(" ".join(problems.values()), field=next(iter(problems), None))
        self.problems = dict(problems)
