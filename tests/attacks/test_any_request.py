"""Any request that the API's own description allows, and many that it does not.

Schemathesis makes them from the description in the repository and holds every answer against it:
no 5xx, no status or body that is not described. 25 a operation as the office; `--long` 100 as
each role and as nobody.
"""

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, Verbosity, given, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from jobs.access import person
from jobs.models import Role
from jobs.services import programs
from tests import servers
from tests.attacks.world import Firm

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
]
DESCRIPTION = schemathesis.openapi.from_path(servers.ROOT / "deploy" / "openapi.yaml")
OPERATIONS = [each.ok() for each in DESCRIPTION.get_all_operations()]


@pytest.mark.parametrize("operation", OPERATIONS, ids=lambda each: each.label)
def test_every_answer_is_one_that_is_described(operation, live_site, request):
    long = request.config.getoption("--long")
    firm = Firm("Alpha")
    roles = [role.value for role in Role] if long else ["office"]
    for role in roles:
        headers = {"Authorization": f"Bearer {secret_of(firm, role)}"}
        ask_anything(operation, live_site.url, headers, cases=100 if long else 25)
    if long:
        ask_anything(operation, live_site.url, {}, cases=100)


def secret_of(firm: Firm, role: str) -> str:
    """A token that acts for somebody in that role."""
    return programs.make_token(
        branch=firm.branch,
        name=role,
        scope="write",
        days=1,
        by=person(firm.people[role]),
        now=firm.now,
    )[1]


def ask_anything(operation, address: str, headers: dict[str, str], *, cases: int) -> None:
    """Send so many requests to one operation and hold each answer against its description."""

    def ask(case) -> None:
        case.headers = {**(case.headers or {}), **headers}
        response = case.call(base_url=address, timeout=30)
        case.validate_response(response, checks=CHECKS)

    settings(
        max_examples=cases,
        deadline=None,
        database=None,
        derandomize=True,
        phases=[Phase.generate],
        verbosity=Verbosity.quiet,
        suppress_health_check=list(HealthCheck),
    )(given(case=operation.as_strategy())(ask))()
