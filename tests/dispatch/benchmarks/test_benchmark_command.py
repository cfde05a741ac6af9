"""The benchmarks on small sizes: every figure is there, and nothing is measured in our database."""

import json
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from dispatch.benchmarks.subjects import SUBJECTS
from jobs.models import Branch

SMALL = {
    "feed": {"events": 12, "times": 2},
    "flat": {"few": 8, "many": 240, "branches": 2, "crews": 2, "times": 2},
    "picture": {"crews": 3, "times": 2},
    "week": {"crews": 2, "past": 60, "times": 2},
    "refresh": {"sites": 30, "towns": 2, "floors": 4},
    "offers": {"crews": 4, "bookings": 60, "callers": 12},
    "slabs": {"floors": 7, "days": 2},
}


@pytest.mark.django_db
@pytest.mark.parametrize(
    "name", [pytest.param(each, marks=[pytest.mark.long] * (each == "flat")) for each in SMALL]
)
def test_a_subject_prints_its_size_its_figures_and_what_it_is_held_against(name):
    out = StringIO()

    call_command("benchmark", name, "--json", **SMALL[name], stdout=out)

    answer = json.loads(out.getvalue())
    assert {"baseline", "ratio"} <= set(answer)
    for figure in ("median_ms", "p95_ms", "queries"):
        assert f'"{figure}"' in out.getvalue()
    assert not Branch.objects.exists()


def test_every_subject_has_a_size_of_whole_numbers():
    for subject in SUBJECTS.values():
        assert all(isinstance(number, int) for number in subject.numbers().values())


def test_what_is_not_measured_is_refused():
    with pytest.raises(CommandError, match="invalid choice"):
        call_command("benchmark", "nothing")
