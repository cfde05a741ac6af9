"""The branch's rows as files to take along, streamed, whatever their number."""

import json
from collections.abc import Iterator
from datetime import date, timedelta

from django.http import Http404, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from dispatch.reads.handing_out import KINDS, Kind, Row, Span
from dispatch.views.entrance import OfficeRequest, office
from jobs import access
from jobs.models.branches import Units
from jobs.refusals import Refusal
from jobs.rules.csv_cells import csv_lines
from jobs.rules.typed import Unreadable, read_day

DESK = access.OFFICE_ROLES
LONGEST = timedelta(days=3660)


@require_safe
@office(*DESK)
def files(request: OfficeRequest) -> HttpResponse:
    """Which files there are, and for which days."""
    today = request.branch.today(timezone.now())
    context = {
        "kinds": KINDS.items(),
        "first": today - timedelta(days=30),
        "last": today + timedelta(days=60),
    }
    return render(request, "dispatch/files.html", context)


@require_safe
@office(*DESK)
def as_csv(request: OfficeRequest, kind: str) -> HttpResponseBase:
    """One kind of rows for a spreadsheet."""
    wanted, span = _asked(request, kind)
    lines = csv_lines(wanted.columns, wanted.rows(request.branch, span))
    return _file(lines, f"{kind}.csv", "text/csv; charset=utf-8")


@require_safe
@office(*DESK)
def as_json(request: OfficeRequest, kind: str) -> HttpResponseBase:
    """One kind of rows for a program: a list of objects."""
    wanted, span = _asked(request, kind)
    lines = _objects(wanted, wanted.rows(request.branch, span))
    return _file(lines, f"{kind}.json", "application/json")


def _asked(request: OfficeRequest, kind: str) -> tuple[Kind, Span]:
    if kind not in KINDS:
        raise Http404("There is no such file.")
    today = request.branch.today(timezone.now())
    first = _day(request, "first") or today - timedelta(days=30)
    last = _day(request, "last") or today + timedelta(days=60)
    if not timedelta(0) <= last - first <= LONGEST:
        raise Refusal("The last day lies before the first, or more than ten years after it.")
    return KINDS[kind], Span(first, last)


def _day(request: OfficeRequest, name: str) -> date | None:
    typed = request.GET.get(name, "").strip()
    if not typed:
        return None
    try:
        return read_day(typed, us=request.branch.units == Units.US)
    except Unreadable as trouble:
        raise Refusal(str(trouble), field=name) from None


def _objects(kind: Kind, rows: Iterator[Row]) -> Iterator[str]:
    begun = "["
    for row in rows:
        yield begun + json.dumps(dict(zip(kind.columns, row, strict=True)), default=_written)
        begun = ",\n"
    yield "[]" if begun == "[" else "]\n"


def _written(value: object) -> str:
    return value.isoformat() if hasattr(value, "isoformat") else str(value)


def _file(lines: Iterator[str], name: str, kind: str) -> StreamingHttpResponse:
    answer = StreamingHttpResponse(lines, content_type=kind)
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    answer["Cache-Control"] = "no-store"
    return answer
