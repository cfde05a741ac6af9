"""The entrance of every API view: who asks, in which branch, with which role."""

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any, TypeVar

from django.utils import timezone
from django.utils.cache import add_never_cache_headers
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse
from rest_framework import serializers
from rest_framework.generics import GenericAPIView
from rest_framework.permissions import SAFE_METHODS, BasePermission
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from dispatch.api.fields import Strict, once_each
from jobs import access
from jobs.models import AccessToken, Branch, Membership, Role, Scope
from jobs.refusals import NotAllowed, NotFound, Refusal

PROBLEM = "application/problem+json"
KEY_HEADER = "Idempotency-Key"
A_KEY = re.compile(r"[\x21-\x7e]{1,100}")
ANYBODY = frozenset(Role)
S = TypeVar("S", bound=Strict)


class BranchView(GenericAPIView[Any]):
    """One address, in one branch. `reading` and `writing` say which roles may."""

    reading: frozenset[Role] = ANYBODY
    writing: frozenset[Role] = access.OFFICE_ROLES
    metadata_class = None
    now: datetime
    branch: Branch

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Sign-in first, then the branch, then the role in it."""
        super().initial(request, *args, **kwargs)
        self.now = timezone.now()
        self.branch = chosen_branch(request)
        reads = request.method in SAFE_METHODS
        allowed = self.reading if reads else self.writing
        token = request.auth
        if isinstance(token, AccessToken) and not reads and token.scope != Scope.WRITE:
            raise NotAllowed("This token may read only.")
        access.require(request.user, self.branch, allowed)

    def finalize_response(
        self, request: Request, response: Any, *args: Any, **kwargs: Any
    ) -> Response:
        """Answers name customers, so nothing between here and the caller keeps them."""
        reply = super().finalize_response(request, response, *args, **kwargs)
        add_never_cache_headers(reply)
        return reply

    def get_serializer_context(self) -> dict[str, Any]:
        """What answers and bodies need to know besides their row."""
        return {"now": getattr(self, "now", None), "branch": getattr(self, "branch", None)}

    def body(self, kind: Callable[..., S]) -> S:
        """The body, checked; a refusal names each field at fault."""
        found = kind(data=self.request.data, context=self.get_serializer_context())
        found.is_valid(raise_exception=True)
        return found

    def query(self, kind: Callable[..., Strict]) -> Mapping[str, Any]:
        """The query of the address, checked the same way."""
        found = kind(data=once_each(self.request.query_params))
        found.is_valid(raise_exception=True)
        values: Mapping[str, Any] = found.validated_data
        return values

    def key(self) -> str:
        """The request's own key, so that a repeat makes nothing twice."""
        key = self.request.headers.get(KEY_HEADER, "")
        if A_KEY.fullmatch(key) is None:
            sentence = (
                f"Send a header {KEY_HEADER} of 1 to 100 visible characters, new for each "
                "request and the same for its repeats."
            )
            raise Refusal(sentence, field=KEY_HEADER)
        return key

    def by(self) -> access.Actor:
        """Who acts: a person, or a program in a person's name."""
        person = access.person(self.request.user)  # type: ignore[arg-type]  # signed in by now
        token = self.request.auth
        if isinstance(token, AccessToken):
            return replace(person, name=f"{token.name}, for {person.name}")
        return person


class OfficeOnly(BasePermission):
    """Owners and office people of any branch."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        """Whether the asker has such a role somewhere."""
        return Membership.objects.of(request.user).filter(role__in=access.OFFICE_ROLES).exists()


def chosen_branch(request: Request) -> Branch:
    """The branch that `?branch=` names, else the asker's first; a token has its own."""
    branches = access.branches_of(request.user)
    if isinstance(request.auth, AccessToken):
        branches = [each for each in branches if each.pk == request.auth.branch_id]
    if not branches:
        raise NotAllowed("You are not a member of any branch.")
    wanted = request.query_params.get("branch")
    if wanted is None:
        return branches[0]
    for branch in branches:
        if branch.slug == wanted:
            return branch
    raise NotFound("There is no such branch.", field="branch")


class ProblemAnswer(serializers.Serializer[Any]):
    """Why not (RFC 9457): `detail` is a sentence for a person, `code` a word for programs."""

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    code = serializers.CharField()
    detail = serializers.CharField()
    field = serializers.CharField(required=False, help_text="The first input at fault.")
    # A declared field never meets the attribute of this name: the metaclass takes it away.
    errors = serializers.DictField(  # type: ignore[assignment]
        required=False,
        child=serializers.ListField(child=serializers.CharField()),
        help_text="Every input at fault, such as floors.0.area_m2, with its sentences.",
    )
    version = serializers.IntegerField(
        required=False, allow_null=True, help_text="After a lost race: what the row has now."
    )


KEY = OpenApiParameter(
    KEY_HEADER,
    OpenApiTypes.STR,
    OpenApiParameter.HEADER,
    required=True,
    description="New for each request, the same for its repeats: a repeat makes nothing twice.",
)
REFUSALS = {
    400: "The request is not in the form that is asked for.",
    401: "Nobody is signed in, or the token does not hold.",
    403: "The role or the token does not include this.",
    404: "There is no such thing in this branch.",
    409: "Somebody was quicker; `version` is what the row has now.",
    413: "The body is too large.",
    415: "The body is not JSON.",
    429: "Too many requests; ask again after `Retry-After` seconds.",
    422: "What was sent cannot be; `errors` says why for each input.",
    503: "The database was busy; ask again after `Retry-After` seconds.",
}


def answers(status: int, answer: Any, *refusals: int) -> dict[Any, Any]:
    """The replies of one operation for the schema: `answer`, and problems by status."""
    told = {
        (code, PROBLEM): OpenApiResponse(ProblemAnswer, description=REFUSALS[code])
        for code in (400, 401, 403, 429, *refusals)
    }
    return {status: answer, **told}
