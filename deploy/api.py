"""What the API answers when it says no: problem details (RFC 9457), whoever refused."""

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from rest_framework.exceptions import ValidationError
from rest_framework.response import Response
from rest_framework.views import exception_handler, set_rollback

from jobs.refusals import Refusal

MEDIA_TYPE = "application/problem+json"
RETRY_AFTER_S = "1"


def answer_refusal(error: Exception, context: Mapping[str, Any]) -> Response | None:
    """The reply to an error raised under an API view, or None for a fault of ours (a 500)."""
    if isinstance(error, Refusal):
        set_rollback()
        return refused(error)
    reply = exception_handler(error, dict(context))
    return None if reply is None else retold(error, reply)


def refused(refusal: Refusal) -> Response:
    """A refusal of the house, as a problem; `field` names the input that is at fault."""
    problem = described(status=refusal.status, code=refusal.code, detail=str(refusal))
    if refusal.field is not None:
        problem["field"] = refusal.field
    reply = Response(problem, status=refusal.status, content_type=MEDIA_TYPE)
    if refusal.status == HTTPStatus.SERVICE_UNAVAILABLE:
        reply["Retry-After"] = RETRY_AFTER_S
    return reply


def retold(error: Exception, reply: Response) -> Response:
    """The framework's own refusal in the same form; its status and headers stay."""
    if isinstance(error, ValidationError):
        problem = described(
            status=reply.status_code, code="invalid", detail="Some of the input is not right."
        )
        problem["errors"] = reply.data
    else:
        detail = reply.data["detail"]
        problem = described(status=reply.status_code, code=detail.code, detail=str(detail))
    reply.data = problem
    reply.content_type = MEDIA_TYPE
    return reply


def described(*, status: int, code: str, detail: str) -> dict[str, object]:
    """The members every problem has."""
    title = HTTPStatus(status).phrase
    return {"type": "about:blank", "title": title, "status": status, "code": code, "detail": detail}
