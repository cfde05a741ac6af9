"""Behind our proxy a visitor is who the proxy says, and nobody else."""

import pytest
from django.core.exceptions import MiddlewareNotUsed
from django.http import HttpResponse
from django.test import RequestFactory

from deploy.proxy import VisitorAddress


def seen(header, settings):
    settings.BEHIND_PROXY = True
    request = RequestFactory().get("/", HTTP_X_FORWARDED_FOR=header, REMOTE_ADDR="127.0.0.1")
    VisitorAddress(lambda _: HttpResponse())(request)
    return request.META["REMOTE_ADDR"]


@pytest.mark.parametrize(
    ("header", "address"),
    [
        ("198.51.100.7", "198.51.100.7"),
        ("203.0.113.9, 198.51.100.7", "198.51.100.7"),  # what the visitor wrote comes first
        ("2001:db8::1", "2001:db8::1"),
        ("", "127.0.0.1"),
        ("198.51.100.7, not an address", "127.0.0.1"),
    ],
)
def test_the_last_entry_is_the_visitor(header, address, settings):
    assert seen(header, settings) == address


def test_without_a_proxy_the_header_is_never_read(settings):
    settings.BEHIND_PROXY = False

    with pytest.raises(MiddlewareNotUsed):
        VisitorAddress(lambda _: HttpResponse())
