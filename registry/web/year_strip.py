"""What runs out over the coming year, drawn as its months from this one on, with a numbered box for each paper.

The numbers are those of the list beside the drawing, so that nothing rests on
colour, and nothing is said in the drawing alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from xml.sax.saxutils import escape

from django.utils.formats import date_format
from django.utils.translation import ngettext

from registry.engine.calendar import months_before
from registry.evidence.running_out import RunsOut
from registry.language.amounts import short_month

MONTHS = 13
WIDTH, BOX, GAP, FOOT = 348.0, 22.0, 4.0, 20.0
COLUMN = WIDTH / MONTHS


def coming_year(today: date) -> tuple[date, date]:
    """From today through the same day of next year."""
    return today, months_before(today, -12)


def year_strip(papers: Sequence[RunsOut], *, today: date) -> str:
    """An SVG of the papers that run out in the coming year, numbered from 1 in their order."""
    months = [months_before(today.replace(day=1), -number) for number in range(MONTHS)]
    stacks: dict[date, list[int]] = {each: [] for each in months}
    for number, paper in enumerate(papers, 1):
        stacks[paper.day.replace(day=1)].append(number)
    tallest = max(1, *(len(stack) for stack in stacks.values()))
    ground = tallest * (BOX + GAP)
    height = ground + FOOT
    drawn = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {height:g}" '
        f'width="{WIDTH:g}" height="{height:g}" role="img">',
        f"<title>{escape(_title(len(papers), months))}</title>",
        f'<path d="M0 {ground:g}H{WIDTH:g}" stroke="currentColor"/>',
    ]
    for column, (month, stack) in enumerate(stacks.items()):
        middle = COLUMN * (column + 0.5)
        for level, number in enumerate(stack):
            top = ground - GAP - (level + 1) * BOX - level * GAP + 2
            drawn.append(
                f'<rect x="{middle - BOX / 2:.1f}" y="{top:g}" width="{BOX:g}" height="{BOX:g}" fill="none" '
                f'stroke="currentColor" stroke-width="2"/>'
                f'<text x="{middle:.1f}" y="{top + 15.5:g}" font-size="13" font-weight="650" text-anchor="middle" '
                f'fill="currentColor">{number}</text>'
            )
        drawn.append(
            f'<text x="{middle:.1f}" y="{height - 6:g}" font-size="11" text-anchor="middle" fill="currentColor">'
            # A column is narrow, and the point of a month cut short says nothing here.
            f"{escape(short_month(month).rstrip('.'))}</text>"
        )
    return "".join((*drawn, "</svg>"))


def _title(number: int, months: Sequence[date]) -> str:
    return ngettext(
        "%(number)d document runs out from %(first)s to %(last)s, in the month of its box.",
        "%(number)d documents run out from %(first)s to %(last)s, each in the month of its box.",
        number,
    ) % {
        "number": number,
        "first": date_format(months[0], "F Y"),
        "last": date_format(months[-1], "F Y"),
    }
