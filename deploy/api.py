"""What every API view shares: strict JSON in, pages of a list, and problem details out."""

import json
from collections.abc import Iterable, Iterator, Mapping
from http import HTTPStatus
from math import isfinite
from typing import IO, Any, NoReturn

from django.core.exceptions import RequestDataTooBig, SuspiciousOperation
from django.http import UnreadablePostError
from rest_framework.exceptions import APIException, ParseError, ValidationError
from rest_framework.pagination import PageNumberPagination
from rest_framework.parsers import JSONParser
from rest_framework.response import Response

from dispatch.api.refusals import LostRace
from jobs.refusals import Invalid, Refusal

MEDIA_TYPE = "application/problem+json"
RETRY_AFTER_S = "1"
MOST_BYTES = 256 * 1024
DEEPEST = 16


class TooLarge(APIException):
    """More was sent than any request of ours needs."""

    status_code = HTTPStatus.REQUEST_ENTITY_TOO_LARGE
    default_detail = f"The body is larger than {MOST_BYTES // 1024} KiB."
    default_code = "too_large"


class StrictJSONParser(JSONParser):
    """One JSON object: UTF-8, each key once, finite numbers, neither deep nor large."""

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> dict[str, Any]:
        """The object, or a refusal that says what is wrong with it."""
        try:
            body = stream.read(MOST_BYTES + 1)
        except UnreadablePostError as trouble:
            raise ParseError("The body ended before it was complete.") from trouble
        if len(body) > MOST_BYTES:
            raise TooLarge
        try:
            data = json.loads(
                body.decode(),
                object_pairs_hook=_each_once,
                parse_constant=_no_number,
                parse_float=_finite,
            )
        except (ValueError, RecursionError) as trouble:
            raise ParseError("The body is not JSON in UTF-8.") from trouble
        if not isinstance(data, dict):
            raise ParseError("The body must be one JSON object.")
        _check_inside(data)
        return data


class Pages(PageNumberPagination):
    """A long list, page by page: `?page=2&size=100`."""

    page_size = 50
    page_size_query_param = "size"
    max_page_size = 200


def _each_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    kept = dict(pairs)
    if len(kept) < len(pairs):
        raise ParseError("The body names the same key twice.")
    return kept


def _no_number(name: str) -> NoReturn:
    raise ParseError(f"{name} is not a number in JSON.")


def _finite(text: str) -> float:
    number = float(text)
    if not isfinite(number):
        raise ParseError("The body has a number that is too large.")
    return number


def _check_inside(data: dict[str, Any]) -> None:
    """Refuse what is nested too deep, and halves of characters, which UTF-8 cannot write."""
    level: list[Any] = [data]
    for _ in range(DEEPEST):
        level = [inner for each in level for inner in _inside(each)]
        if not level:
            return
    raise ParseError(f"The body is nested more than {DEEPEST} deep.")


def _inside(value: Any) -> Iterator[Any]:
    if isinstance(value, dict):
        yield from value
        yield from value.values()
    elif isinstance(value, list):
        yield from value
    elif isinstance(value, str) and any("\ud800" <= sign <= "\udfff" for sign in value):
        raise ParseError("The body has half of a character.")


def answer_refusal(error: Exception, context: Mapping[str, Any]) -> Response | None:
    """The reply to an error raised under an API view, or None for a fault of ours (a 500)."""
    # Late, because those views take their parser and pages from this module as they load.
    from rest_framework.views import exception_handler, set_rollback

    if isinstance(error, Refusal):
        set_rollback()
        return refused(error)
    if isinstance(error, RequestDataTooBig):
        error = TooLarge()
    elif isinstance(error, SuspiciousOperation | UnreadablePostError):
        error = ParseError("The request cannot be read.")
    reply = exception_handler(error, dict(context))
    return None if reply is None else retold(error, reply)


def refused(refusal: Refusal) -> Response:
    """A refusal of the house, as a problem; `field` names the input that is at fault."""
    problem = described(status=refusal.status, code=refusal.code, detail=str(refusal))
    if refusal.field is not None:
        problem["field"] = refusal.field
    if isinstance(refusal, Invalid):
        problem["errors"] = {field: [said] for field, said in refusal.problems.items()}
    if isinstance(refusal, LostRace):
        problem["version"] = refusal.version
    reply = Response(problem, status=refusal.status, content_type=MEDIA_TYPE)
    if refusal.status == HTTPStatus.SERVICE_UNAVAILABLE:
        reply["Retry-After"] = RETRY_AFTER_S
    return reply


def retold(error: Exception, reply: Response) -> Response:
    """The framework's own refusal in the same form; its status and headers stay."""
    if isinstance(error, ValidationError):
        errors = dict(flat(reply.data))
        detail = " ".join(f"{field}: {said[0]}" for field, said in errors.items())
        problem = described(status=reply.status_code, code="invalid", detail=detail)
        problem["field"] = next(iter(errors), "")
        problem["errors"] = errors
    else:
        detail = reply.data["detail"]
        problem = described(status=reply.status_code, code=detail.code, detail=str(detail))
    reply.data = problem
    reply.content_type = MEDIA_TYPE
    return reply


def flat(errors: Any, path: str = "") -> Iterator[tuple[str, list[str]]]:
    """Each field at fault with its sentences; fields inside others as "floors.0.area_m2"."""
    if isinstance(errors, list) and not any(isinstance(each, dict) for each in errors):
        yield path or "body", [str(each) for each in errors]
        return
    inner: Iterable[tuple[Any, Any]]
    inner = errors.items() if isinstance(errors, dict) else enumerate(errors)
    for name, found in inner:
        if found:
            yield from flat(found, f"{path}.{name}".strip("."))


def described(*, status: int, code: str, detail: str) -> dict[str, object]:
    """The members every problem has."""
    title = HTTPStatus(status).phrase
    return {"type": "about:blank", "title": title, "status": status, "code": code, "detail": detail}
