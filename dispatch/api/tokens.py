"""Signing in to the API by a token (RFC 6750), and how often one may ask."""

from typing import TYPE_CHECKING

from django.utils import timezone
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request
from rest_framework.throttling import SimpleRateThrottle

from jobs.models import AccessToken, User
from jobs.services import programs

if TYPE_CHECKING:  # the framework's views load this module as they load
    from rest_framework.views import APIView

LONGEST = 200


class BearerToken(BaseAuthentication):
    """`Authorization: Bearer ...`, made under Settings, Other programs."""

    def authenticate(self, request: Request) -> tuple[User, AccessToken] | None:
        """The person a token acts for, and the token; None where no token is sent."""
        kind, _, secret = get_authorization_header(request).partition(b" ")
        if kind.lower() != b"bearer":
            return None
        now = timezone.now()
        try:
            token = programs.find_token(secret.decode("ascii")[:LONGEST], now=now)
        except UnicodeDecodeError:
            token = None
        if token is None:
            raise AuthenticationFailed("This token is not known, was stopped or has run out.")
        programs.note_use(token, now=now)
        return token.made_by, token

    def authenticate_header(self, request: Request) -> str:
        """What a refusal asks for."""
        return 'Bearer realm="Slabcast"'


class PerCaller(SimpleRateThrottle):
    """So many requests a minute by each token or person, counted in each process of the site."""

    scope = "caller"
    rate = "1200/min"

    def get_cache_key(self, request: Request, view: "APIView") -> str | None:
        """Whose requests are counted together; strangers are refused before they cost much."""
        if isinstance(request.auth, AccessToken):
            return f"calls:token:{request.auth.pk}"
        if request.user.is_authenticated:
            return f"calls:person:{request.user.pk}"
        return None
