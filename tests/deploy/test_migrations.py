"""Migrations forth and back on both engines: from nothing, to nothing, and with rows in place.

Each run has a database of its own; what is compared is the rows of every table that stays.
"""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.db.migrations import Migration
from django.db.migrations.loader import MigrationLoader

from tests import servers
from tests.office_on_the_web import Office, child, office_at

OURS = ("weather", "jobs", "dispatch")
LOADER = MigrationLoader(None)
# Django's own bookkeeping, which changes with what is migrated.
BOOKKEEPING = {"django_migrations", "django_content_type", "auth_permission", "sqlite_sequence"}


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def database(request, tmp_path_factory) -> Iterator[str | Path]:
    if request.param == "sqlite":
        yield tmp_path_factory.mktemp("migrations") / "office.sqlite3"
        return
    try:
        with servers.postgres() as cluster:
            yield f"postgresql://postgres@127.0.0.1:{cluster.port}/postgres"
    except servers.Missing as missing:
        pytest.skip(str(missing))


def ours() -> list[Migration]:
    """In one order: every process of a run must find the same tests."""
    return [each for (app, _), each in sorted(LOADER.disk_migrations.items()) if app in OURS]


# Run in one process of its own, since starting each costs more than migrating.
STEPS = """
import django, json, sys
django.setup()
from django.core.management import call_command
from django.db import connection

def counted():
    with connection.cursor() as cursor:
        found = {}
        for name in connection.introspection.table_names(cursor):
            cursor.execute(f'SELECT count(*) FROM "{name}"')
            found[name] = cursor.fetchone()[0]
        return found

seen = []
for words in json.loads(sys.argv[1]):
    call_command("migrate", *words, interactive=False, verbosity=0)
    seen.append(counted())
sys.stdout.write(json.dumps(seen))
"""


def migrate(office: Office, *targets: str) -> list[dict[str, int]]:
    """Rows of every table after each step: "jobs 0002", or "" for everything."""
    steps = json.dumps([target.split() for target in targets])
    seen = json.loads(child({"DATABASE": office.url}, "-c", STEPS, steps))
    return [
        {name: count for name, count in each.items() if name not in BOOKKEEPING} for each in seen
    ]


def backwards() -> Iterator[str]:
    """One migration back at a time, newest first, down to the first of each of our apps."""
    plan = LOADER.graph._generate_plan(LOADER.graph.leaf_nodes(), at_end=True)
    for app, name in reversed([node for node in plan if node[0] in OURS]):
        earlier = [node for node in LOADER.graph.node_map[(app, name)].parents if node[0] == app]
        if not earlier:
            return
        yield f"{app} {earlier[0][1]}"


def test_forth_and_back_keeps_every_row_and_ends_at_nothing(database):
    office = office_at(database)
    looked = office.look()
    steps = list(backwards())

    before, *down, again = migrate(office, "", *steps, "")

    assert before["jobs_job"] > 0
    assert len(down) == len(steps) > 0
    for target, stays in zip(steps, down, strict=True):
        assert stays == {name: before[name] for name in stays}, target
    # What a step took away comes back empty; everything else is as it was.
    assert {name: again[name] for name in stays} == {name: before[name] for name in stays}
    assert set(again) == set(before)
    assert office.look() == looked
    gone, anew = migrate(office, *[f"{app} zero" for app in reversed(OURS)], "")[-2:]
    assert not [name for name in gone if name.startswith(OURS)]
    assert set(anew) == set(before)


@pytest.mark.parametrize("migration", ours(), ids=str)
def test_every_step_can_be_taken_back(migration):
    assert [each for each in migration.operations if not each.reversible] == []
