"""Hours over time by model, drawn as bars in rows: one row a model, so that nothing rests on colour."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from xml.sax.saxutils import escape

from django.utils.translation import gettext as _

from registry.language.amounts import amount, duration
from registry.language.words import set_apart

MOST_MODELS = 6
LONGEST_NAME = 26
FEWEST_STEPS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Sizes of a chart, in units of its own, and its inks.

    ``names`` is the width of the column of names; at 0 a name stands above its
    bars. ``row`` is the height of a model's row, ``bar`` of the highest bar.
    """

    width: float
    names: float
    row: float
    bar: float
    foot: float
    name_size: float
    small_size: float
    mark_size: float
    between_years: float
    ink: str
    bars: str
    line: str
    font: str = ""


PAPER = Layout(
    width=500,
    names=150,
    row=34,
    bar=24,
    foot=16,
    name_size=8,
    small_size=6.5,
    mark_size=6,
    between_years=22,
    ink="black",
    bars="#222",
    line="#888",
    font='font-family="DejaVu Sans" ',
)
SCREEN = Layout(
    width=344,
    names=0,
    row=94,
    bar=44,
    foot=20,
    name_size=13,
    small_size=11,
    mark_size=11,
    between_years=40,
    ink="currentColor",
    bars="currentColor",
    line="currentColor",
)
"""For pages: large enough to be read on a phone, in the colour of the text around it."""


def hours_chart(minutes: Mapping[str, Mapping[int, int]], *, layout: Layout = PAPER, quarters: bool = False) -> str:
    """An SVG of ``{model: {year: minutes}}``, or nothing where there are no hours.

    With ``quarters`` the numbers are those of quarters (:func:`quarter_number`),
    not of years. The models worked most stand in rows of their own, the rest in
    one together. All rows share one scale. The title says in words what the bars
    show.
    """
    rows = rows_of(minutes)
    periods = [period for _name, by_period in rows for period, worked in by_period.items() if worked]
    if not periods:
        return ""
    first, last = min(periods), max(periods)
    most = max(worked for _name, by_period in rows for worked in by_period.values())
    step = (layout.width - layout.names) / max(last - first + 1, FEWEST_STEPS)
    height = layout.row * len(rows) + layout.foot
    drawn = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {layout.width:g} {height:g}" '
        f'width="{layout.width:g}" height="{height:g}" role="img">',
        f"<title>{escape(_title(rows, first, last, quarters))}</title>",
        f"<desc>{escape(_told(quarters))}</desc>",
    ]
    for number, (name, by_period) in enumerate(rows):
        foot = number * layout.row + layout.row - 2
        drawn += _names(layout, name, sum(by_period.values()), foot)
        drawn.append(
            f'<path d="M{layout.names:g} {foot:g}H{layout.width:g}" stroke="{layout.line}" stroke-width="0.5"/>'
        )
        highest = max(by_period, key=lambda period: (by_period[period], -period))
        for period, worked in by_period.items():
            left, tall = layout.names + (period - first) * step, layout.bar * worked / most
            drawn.append(
                f'<rect x="{left + step * 0.14:.2f}" y="{foot - tall:.2f}" width="{step * 0.72:.2f}" '
                f'height="{tall:.2f}" fill="{layout.bars}"/>'
            )
            if period == highest:
                mark = _mark(worked)
                drawn.append(_centred(layout, left + step / 2, foot - tall - 1.5, layout.mark_size, mark))
    drawn += _axis(layout, first, last, step, height - 5, quarters)
    return "".join((*drawn, "</svg>"))


def quarter_number(year: int, month: int) -> int:
    """Quarters counted from the year 0: the first of 2024 is 8096."""
    return year * 4 + (month - 1) // 3


def period_in_words(period: int, *, quarters: bool) -> str:
    """``2024``, or ``2024, quarter 3``."""
    if not quarters:
        return str(period)
    return _("%(year)d, quarter %(quarter)d") % {"year": period // 4, "quarter": period % 4 + 1}


def rows_of(minutes: Mapping[str, Mapping[int, int]]) -> list[tuple[str, dict[int, int]]]:
    """The rows of the chart: the models worked most, and the others in one row together."""
    ordered = sorted(minutes.items(), key=lambda each: (-sum(each[1].values()), each[0]))
    if len(ordered) <= MOST_MODELS:
        return [(name, dict(by_period)) for name, by_period in ordered]
    rest: dict[int, int] = {}
    for _name, by_period in ordered[MOST_MODELS - 1 :]:
        for period, worked in by_period.items():
            rest[period] = rest.get(period, 0) + worked
    shown = [(name, dict(by_period)) for name, by_period in ordered[: MOST_MODELS - 1]]
    others = _("%(count)d other models") % {"count": len(ordered) - MOST_MODELS + 1}
    return [*shown, (others, rest)]


def _names(layout: Layout, name: str, worked: int, foot: float) -> list[str]:
    total = _("%(worked)s in all") % {"worked": duration(worked)}
    if layout.names:
        return [
            _text(layout, 0, foot - 9, layout.name_size, _short(name)),
            _text(layout, 0, foot, layout.small_size, total),
        ]
    above = foot - layout.row + 8 + layout.name_size
    return [
        _text(layout, 0, above, layout.name_size, _short(name)),
        _text(layout, layout.width, above, layout.small_size, total, anchor="end"),
    ]


def _axis(layout: Layout, first: int, last: int, step: float, y: float, quarters: bool) -> list[str]:
    """The years under the bars, as many as have room; of quarters each year's stands under its first."""
    if quarters:
        shown = [period for period in range(first, last + 1) if period % 4 == 0]
        if not shown or (shown[0] - first) * step >= layout.between_years:
            shown.insert(0, first)
        return [
            _text(layout, layout.names + (each - first) * step, y, layout.small_size, str(each // 4)) for each in shown
        ]
    every = next(each for each in (1, 2, 5, 10, 20, 50, 100) if step * each >= layout.between_years)
    return [
        _centred(layout, layout.names + (year - first + 0.5) * step, y, layout.small_size, str(year))
        for year in range(first, last + 1)
        if (year in (first, last) and last - first < every) or year % every == 0
    ]


def _centred(layout: Layout, middle: float, y: float, size: float, said: str) -> str:
    """A figure under or over the middle of its bar; a wider one stays inside the drawing."""
    half = len(said) * size * 0.32
    return _text(layout, min(max(middle, half), layout.width - half), y, size, said, anchor="middle")


def _text(layout: Layout, x: float, y: float, size: float, said: str, *, anchor: str = "") -> str:
    anchored = f' text-anchor="{anchor}"' if anchor else ""
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size:g}"{anchored} {layout.font}fill="{layout.ink}">'
        f"{escape(said)}</text>"
    )


def _told(quarters: bool) -> str:
    if quarters:
        return _("Bars of hours a quarter, one row a crane model, all on one scale.")
    return _("Bars of hours a year, one row a crane model, all on one scale.")


def _title(rows: list[tuple[str, dict[int, int]]], first: int, last: int, quarters: bool) -> str:
    parts = set_apart(
        _("%(model)s: %(worked)s") % {"model": name, "worked": duration(sum(by_period.values()))}
        for name, by_period in rows
    )
    if quarters:
        return _("Hours a quarter by crane model, from %(first)s to %(last)s. %(parts)s.") % {
            "first": period_in_words(first, quarters=True),
            "last": period_in_words(last, quarters=True),
            "parts": parts,
        }
    return _("Hours a year by crane model, %(first)d to %(last)d. %(parts)s.") % {
        "first": first,
        "last": last,
        "parts": parts,
    }


def _mark(minutes: int) -> str:
    """Whole hours, rounded down, over a bar: minutes have no room there; the total beside the name has them."""
    return amount(minutes // 60) if minutes >= 60 else "<1"


def _short(name: str) -> str:
    return name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1] + "…"
