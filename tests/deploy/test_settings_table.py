"""The guide's table of settings and the code name the same variables with the same defaults."""

import ast
import re

import pytest

from tests.servers import ROOT

GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
ROWS = dict(re.findall(r"^\| `SLABCAST_(\w+)` \| (.*?) \| ", GUIDE, flags=re.MULTILINE))
READERS = {"text", "flag", "number", "words"}
# How tests and scripts read a variable themselves; setting one for a child is no reading.
READ_DIRECTLY = re.compile(
    r"""environ\.get\("SLABCAST_(\w+)"|"SLABCAST_(\w+)"\ (?:not\ )?in\ os\.environ"""
    r"""|\$\{SLABCAST_(\w+)""",
    flags=re.VERBOSE,
)


def calls():
    """Every `env.text("NAME", default)` and its like in the program."""
    for folder in ("deploy", "dispatch", "jobs", "weather"):
        for path in (ROOT / folder).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if (
                    isinstance(node, ast.Call)
                    and isinstance(node.func, ast.Attribute)
                    and node.func.attr in READERS
                    and ast.unparse(node.func.value) == "env"
                ):
                    yield node


def read_directly():
    """Names that the tests and the scripts read without `deploy.env`."""
    paths = [*(ROOT / "tests").rglob("*.py"), *(ROOT / "deploy" / "scripts").iterdir()]
    paths.append(ROOT / "deploy" / "gunicorn_conf.py")
    for path in paths:
        for found in READ_DIRECTLY.findall(path.read_text(encoding="utf-8")):
            yield "".join(found)


def default_of(call):
    """What the table must show: the default, or None where the code works it out."""
    given = [*call.args[1:], *(word.value for word in call.keywords if word.arg == "default")]
    value = given[0] if given else ast.Constant(False if call.func.attr == "flag" else "")
    if not isinstance(value, ast.Constant):
        return None
    if isinstance(value.value, bool):
        return "`yes`" if value.value else "`no`"
    return f"`{value.value}`" if value.value != "" else "empty"


CALLS = {ast.literal_eval(call.args[0]): call for call in calls()}


def test_every_variable_that_is_read_has_a_row_and_every_row_is_read():
    assert set(ROWS) == set(CALLS) | set(read_directly())


@pytest.mark.parametrize("name", CALLS)
def test_a_row_shows_the_default(name):
    default = default_of(CALLS[name])

    # Where the code goes on with `or`, the row says what then holds.
    goes_on = {"STATE_DIR", "DATABASE", "STATIC_DIR", "BACKUP_DIR"}
    assert default is None or name in goes_on or ROWS[name] == default


def test_files_that_the_guide_names_are_there():
    named = re.findall(
        r"(?:^|[`\s(])((?:deploy|dispatch|jobs|weather|tests|templates)/[\w/]*(?:\.\w+)?)", GUIDE
    )
    placeholders = {"weather/providers/NAME.py"}

    assert [path for path in {*named} - placeholders if not (ROOT / path).exists()] == []
