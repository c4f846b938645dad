"""Hours over the years by model, drawn as bars in rows: one row a model, so that nothing rests on colour."""

from __future__ import annotations

from collections.abc import Mapping
from xml.sax.saxutils import escape

from django.utils.formats import number_format
from django.utils.translation import gettext as _

WIDTH, NAMES, ROW, BAR, FOOT = 500.0, 150.0, 34.0, 24.0, 16.0
MOST_MODELS = 6
FONT = 'font-family="DejaVu Sans" fill="black"'
LONGEST_NAME = 26


def hours_chart(minutes: Mapping[str, Mapping[int, int]]) -> str:
    """An SVG of ``{model: {year: minutes}}``, or nothing where there are no hours.

    The models worked most stand in rows of their own, the rest in one together.
    All rows share one scale. The title says in words what the bars show.
    """
    rows = _rows(minutes)
    years = [year for _name, by_year in rows for year, worked in by_year.items() if worked]
    if not years:
        return ""
    first, last = min(years), max(years)
    most = max(worked for _name, by_year in rows for worked in by_year.values())
    step = (WIDTH - NAMES) / max(last - first + 1, 8)
    height = ROW * len(rows) + FOOT
    drawn = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {height:g}" '
        f'width="{WIDTH:g}" height="{height:g}" role="img">',
        f"<title>{escape(_title(rows, first, last))}</title>",
        f"<desc>{escape(_('Bars of hours a year, one row a crane model, all on one scale.'))}</desc>",
    ]
    for number, (name, by_year) in enumerate(rows):
        foot = number * ROW + ROW - 2
        drawn.append(f'<text x="0" y="{foot - 9:g}" font-size="8" {FONT}>{escape(_short(name))}</text>')
        total = escape(_("%(hours)s h in all") % {"hours": _hours(sum(by_year.values()))})
        drawn.append(f'<text x="0" y="{foot:g}" font-size="6.5" {FONT}>{total}</text>')
        drawn.append(f'<path d="M{NAMES:g} {foot:g}H{WIDTH:g}" stroke="#888" stroke-width="0.5"/>')
        highest = max(by_year, key=lambda year: (by_year[year], -year))
        for year, worked in by_year.items():
            left, tall = NAMES + (year - first) * step, BAR * worked / most
            drawn.append(
                f'<rect x="{left + step * 0.14:.2f}" y="{foot - tall:.2f}" width="{step * 0.72:.2f}" '
                f'height="{tall:.2f}" fill="#222"/>'
            )
            if year == highest:
                drawn.append(
                    f'<text x="{left + step / 2:.2f}" y="{foot - tall - 1.5:.2f}" font-size="6" '
                    f'text-anchor="middle" {FONT}>{escape(_hours(worked))}</text>'
                )
    every = next(each for each in (1, 2, 5, 10, 20) if step * each >= 22)
    for year in range(first, last + 1):
        if (year in (first, last) and last - first < every) or year % every == 0:
            middle = NAMES + (year - first + 0.5) * step
            drawn.append(
                f'<text x="{middle:.2f}" y="{height - 5:g}" font-size="6.5" text-anchor="middle" {FONT}>{year}</text>'
            )
    return "".join((*drawn, "</svg>"))


def _rows(minutes: Mapping[str, Mapping[int, int]]) -> list[tuple[str, dict[int, int]]]:
    ordered = sorted(minutes.items(), key=lambda each: (-sum(each[1].values()), each[0]))
    if len(ordered) <= MOST_MODELS:
        return [(name, dict(by_year)) for name, by_year in ordered]
    rest: dict[int, int] = {}
    for _name, by_year in ordered[MOST_MODELS - 1 :]:
        for year, worked in by_year.items():
            rest[year] = rest.get(year, 0) + worked
    shown = [(name, dict(by_year)) for name, by_year in ordered[: MOST_MODELS - 1]]
    others = _("%(count)d other models") % {"count": len(ordered) - MOST_MODELS + 1}
    return [*shown, (others, rest)]


def _title(rows: list[tuple[str, dict[int, int]]], first: int, last: int) -> str:
    parts = "; ".join(
        _("%(model)s: %(hours)s hours") % {"model": name, "hours": _hours(sum(by_year.values()))}
        for name, by_year in rows
    )
    return _("Hours a year by crane model, %(first)d to %(last)d. %(parts)s.") % {
        "first": first,
        "last": last,
        "parts": parts,
    }


def _hours(minutes: int) -> str:
    """Whole hours, rounded down, for a label; the tables have the exact figures."""
    return number_format(minutes // 60, use_l10n=True, force_grouping=True)


def _short(name: str) -> str:
    return name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1] + "…"
