"""The visitor's own address, where a proxy of ours stands in front."""

import ipaddress
from collections.abc import Callable

from django.conf import settings
from django.core.exceptions import MiddlewareNotUsed
from django.http import HttpRequest, HttpResponse


class VisitorAddress:
    """Middleware: REMOTE_ADDR becomes the last entry of X-Forwarded-For, which our proxy wrote.

    Without it every visitor would count as one in the limits on tries. What stands before the
    last entry came from the visitor and is not believed. Unused without a proxy.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        if not settings.BEHIND_PROXY:
            raise MiddlewareNotUsed
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        last = request.META.get("HTTP_X_FORWARDED_FOR", "").rsplit(",", 1)[-1].strip()
        if _is_address(last):
            request.META["REMOTE_ADDR"] = last
        return self.get_response(request)


def _is_address(text: str) -> bool:
    try:
        ipaddress.ip_address(text)
    except ValueError:
        return False
    return True
