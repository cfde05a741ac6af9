"""Mail over real SMTP on this machine: TLS and sign-in, refused, slow and vanished servers.

The other side is aiosmtpd. Reply codes: RFC 5321 section 4.2; STARTTLS: RFC 3207; sign-in:
RFC 4954.
"""

import asyncio
import shutil
import ssl
import subprocess
from contextlib import contextmanager
from datetime import timedelta

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, LoginPassword

from dispatch.models import Notice, NoticeState
from dispatch.services import sending
from tests import builders, servers
from tests.dispatch.days import NOW, book

pytestmark = pytest.mark.django_db(transaction=True)
NEXT = NOW + timedelta(minutes=2)  # the first wait is a minute
USER, PASSWORD = "office", "a long passphrase"


class Server:
    """A mail server that wants TLS and sign-in, and does with recipients as it is told."""

    def __init__(self):
        self.recipient, self.pause_s, self.drops = "250 OK", 0.0, False
        self.envelopes, self.seen_tls = [], []

    async def handle_RCPT(self, _server, session, envelope, address, _options):  # noqa: N802
        self.seen_tls.append(session.ssl is not None and session.authenticated)
        if self.recipient.startswith("2"):
            envelope.rcpt_tos.append(address)
        return self.recipient

    async def handle_DATA(self, server, _session, envelope):  # noqa: N802
        await asyncio.sleep(self.pause_s)
        if self.drops:
            server.transport.close()
        self.envelopes.append(envelope)
        return "250 OK"


def signs_in(_server, _session, _envelope, _mechanism, given):
    right = isinstance(given, LoginPassword) and (given.login, given.password) == (
        USER.encode(), PASSWORD.encode(),
    )  # fmt: skip
    return AuthResult(success=right, handled=right)


@pytest.fixture(scope="module")
def certificate(tmp_path_factory):
    """A certificate for localhost that nobody else trusts, and its key."""
    if not shutil.which("openssl"):
        pytest.skip("openssl is missing: apt-get install openssl")
    folder = tmp_path_factory.mktemp("tls")
    key, cert = folder / "key.pem", folder / "cert.pem"
    words = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2"]
    words += ["-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost"]
    subprocess.run(
        [*words, "-keyout", str(key), "-out", str(cert)], check=True, capture_output=True
    )
    return cert, key


@contextmanager
def listening(certificate):
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(*map(str, certificate))
    server = Server()
    controller = Controller(
        server,
        hostname="localhost",
        port=servers.free_port(),
        tls_context=context,
        require_starttls=True,
        auth_required=True,
        authenticator=signs_in,
    )
    controller.start()
    try:
        yield server, controller.port
    finally:
        controller.stop()


@pytest.fixture
def server(certificate, settings, monkeypatch):
    monkeypatch.setenv("SSL_CERT_FILE", str(certificate[0]))  # what OpenSSL trusts
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_USE_TLS, settings.EMAIL_TIMEOUT = "localhost", True, 10
    settings.EMAIL_HOST_USER, settings.EMAIL_HOST_PASSWORD = USER, PASSWORD
    with listening(certificate) as (server, port):
        settings.EMAIL_PORT = port
        yield server


@pytest.fixture
def notice():
    branch = builders.branch()
    book(branch, builders.crew(of=branch))
    return Notice.objects.get(audience="customer")


def after(notice):
    notice.refresh_from_db()
    return notice.state


def test_a_mail_goes_over_tls_after_signing_in(server, notice):
    assert sending.send_due(now=NOW) == 1

    (envelope,) = server.envelopes
    assert server.seen_tls == [True]
    assert envelope.rcpt_tos == [notice.to]
    # RFC 6047 section 2.5: safe on hops that are not clean for 8 bits.
    assert max(envelope.content) < 128
    assert b"text/calendar; method=" in envelope.content
    assert after(notice) == NoticeState.SENT


def test_a_wrong_password_is_tried_again_and_named_nowhere(server, notice, settings):
    settings.EMAIL_HOST_PASSWORD = "not the passphrase"

    assert sending.send_due(now=NOW) == 0

    assert after(notice) == NoticeState.PENDING
    assert NOW + timedelta(minutes=1) <= notice.next_try_at < NEXT
    assert "535" in notice.last_error
    assert "passphrase" not in notice.last_error
    settings.EMAIL_HOST_PASSWORD = PASSWORD
    assert sending.send_due(now=NEXT) == 1


def test_nothing_goes_to_a_server_whose_certificate_nobody_vouches_for(server, notice, monkeypatch):
    monkeypatch.delenv("SSL_CERT_FILE")

    assert sending.send_due(now=NOW) == 0

    assert server.envelopes == []
    assert after(notice) == NoticeState.PENDING
    assert "certificate" in notice.last_error.lower()


def test_without_tls_the_server_takes_nothing_and_nothing_is_lost(server, notice, settings):
    settings.EMAIL_USE_TLS = False

    assert sending.send_due(now=NOW) == 0
    assert (after(notice), server.envelopes) == (NoticeState.PENDING, [])


def test_a_recipient_refused_for_good_is_not_tried_again(server, notice):
    server.recipient = "550 5.1.1 no such mailbox"

    assert sending.send_due(now=NOW) == 0

    assert after(notice) == NoticeState.FAILED
    assert "no such mailbox" in notice.last_error
    assert sending.send_due(now=NOW + timedelta(days=1)) == 0


def test_a_recipient_refused_for_now_is_tried_again(server, notice):
    server.recipient = "451 4.2.1 mailbox busy"
    sending.send_due(now=NOW)
    waiting = after(notice)
    server.recipient = "250 OK"

    assert waiting == NoticeState.PENDING
    assert sending.send_due(now=NEXT) == 1


def test_a_server_that_thinks_too_long_is_left_and_asked_later(server, notice, settings):
    settings.EMAIL_TIMEOUT, server.pause_s = 1, 4

    assert sending.send_due(now=NOW) == 0

    assert after(notice) == NoticeState.PENDING
    assert notice.attempts == 1
    server.pause_s = 0
    assert sending.send_due(now=NEXT) == 1


def test_a_server_that_hangs_up_after_the_mail_is_asked_again_under_the_same_number(server, notice):
    server.drops = True
    assert sending.send_due(now=NOW) == 0
    server.drops = False
    assert sending.send_due(now=NEXT) == 1

    numbers = {
        line
        for envelope in server.envelopes
        for line in envelope.content.split(b"\r\n")
        if line.lower().startswith(b"message-id")
    }
    # Nobody can tell whether the first was taken; a reader folds two of one number into one.
    assert len(server.envelopes) == 2
    assert len(numbers) == 1


def test_one_refused_recipient_does_not_hold_up_the_others(server):
    branch = builders.branch()
    for _ in range(3):
        book(branch, builders.crew(of=branch))
    first = Notice.objects.filter(audience="customer").order_by("pk")[0]
    Notice.objects.filter(pk=first.pk).update(to="nobody\n@example.org")  # no address at all

    assert sending.send_due(now=NOW) == 2
    assert after(first) == NoticeState.FAILED
