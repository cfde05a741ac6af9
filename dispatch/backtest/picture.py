"""Losses of each policy as an SVG picture: one bar each, by kind of loss, with its range."""

from collections.abc import Iterator, Sequence
from xml.sax.saxutils import escape

from dispatch.backtest.tally import Counts

WIDTH, BAR, GAP, LEFT, TOP = 760, 34, 26, 40, 64
# Kinds by how their causes begin, from the dearest to bear; colours that also differ in grey.
KINDS = (
    ("spoiled", "spoiled floors", "#8c2d04"),
    ("day lost", "crew-days lost", "#d95f0e"),
    ("moved", "customers moved", "#fe9929"),
    ("promise", "drive-on promises", "#a6bddb"),
    ("waiting", "waiting", "#74a9cf"),
    ("not done", "not done", "#0570b0"),
)


def losses_svg(found: Sequence[Counts]) -> str:
    """The picture as text; it needs no style sheet."""
    most = max([1.0, *(each.loss_high for each in found)])
    scale = (WIDTH - LEFT - 90) / most
    height = TOP + len(found) * (BAR + GAP) + 20
    frame = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" '
        f'font-family="sans-serif" font-size="13" role="img" '
        f'aria-label="Loss per 100 floors by policy">'
    )
    parts = [
        frame,
        f'<rect width="{WIDTH}" height="{height}" fill="#ffffff"/>',
        *_legend(),
    ]
    for row, each in enumerate(found):
        parts += _bar(each, y=TOP + row * (BAR + GAP), scale=scale)
    return "\n".join([*parts, "</svg>", ""])


def _legend() -> Iterator[str]:
    title = "Loss per 100 floors ordered, thousands of dollars"
    yield f'<text x="8" y="18" fill="#222222">{title}</text>'
    for position, (_, words, colour) in enumerate(KINDS):
        x = 8 + position * 125
        yield f'<rect x="{x}" y="30" width="12" height="12" fill="{colour}"/>'
        yield f'<text x="{x + 16}" y="41" font-size="11" fill="#222222">{words}</text>'


def _bar(each: Counts, *, y: int, scale: float) -> Iterator[str]:
    yield f'<text x="8" y="{y + 23}" fill="#222222">{escape(each.policy)}</text>'
    x = float(LEFT)
    for kind, _, colour in KINDS:
        amount = sum(v for cause, v in each.loss_by.items() if cause.startswith(kind))
        yield (
            f'<rect x="{x:.1f}" y="{y}" width="{amount * scale:.1f}" height="{BAR}" '
            f'fill="{colour}"/>'
        )
        x += amount * scale
    low, high = (LEFT + value * scale for value in (each.loss_low, each.loss_high))
    middle = y + BAR // 2
    yield (
        f'<path d="M{low:.1f} {middle - 5}v10M{low:.1f} {middle}H{high:.1f}'
        f'M{high:.1f} {middle - 5}v10" stroke="#222222" fill="none"/>'
    )
    end = max(x, high) + 8
    yield f'<text x="{end:.1f}" y="{y + 22}" fill="#222222">{each.loss / 1000:.0f}</text>'
    yield (
        f'<text x="{LEFT}" y="{y + BAR + 14}" font-size="11" fill="#555555">'
        f"{escape(each.words)}</text>"
    )
