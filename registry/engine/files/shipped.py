"""Standards that a case file names instead of repeating them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from registry.engine.bad_input import BadInput
from registry.engine.files.standard_file import parse_standard
from registry.engine.standard import Standard

Shipped = Sequence[dict[str, Any]]
"""The plain data of standard files, as :func:`~registry.engine.files.standard_file.parse_standard` takes it."""


def named_standard(
    named: dict[str, Any], shipped: Shipped, *, figures: dict[str, int] | None = None, path: str = "$.standard"
) -> Standard:
    """The standard with the key ``shipped``, by its ``version`` or as it is in force on the day ``in_force_on``.

    Raises :class:`BadInput` where there is none.
    """
    key = named["shipped"]
    versions = sorted((each for each in shipped if each["standard"] == key), key=lambda each: _first_day(each))
    if not versions:
        known = ", ".join(sorted({each["standard"] for each in shipped})) or "none"
        raise BadInput(f"{path}.shipped", f"no standard {key!r} is shipped; there are: {known}")
    if "version" in named:
        chosen = next((each for each in versions if each["version"] == named["version"]), None)
        if chosen is None:
            raise BadInput(f"{path}.version", f"the standard {key!r} has no version {named['version']}")
        return _parsed(chosen, versions, figures, path)
    day = _day(named["in_force_on"], f"{path}.in_force_on")
    started = [each for each in versions if _first_day(each) <= day]
    standard = _parsed(started[-1], versions, figures, path) if started else None
    if standard is None or (standard.in_force_until is not None and standard.in_force_until < day):
        raise BadInput(f"{path}.in_force_on", f"no version of the standard {key!r} is in force on {day}")
    return standard


def _parsed(data: dict[str, Any], versions: Shipped, figures: dict[str, int] | None, path: str) -> Standard:
    """The version, which the one that follows it ends."""
    try:
        standard = parse_standard(data, figures=figures)
    except BadInput as error:
        raise BadInput(f"{path}.shipped", str(error)) from None
    following = [_first_day(each) for each in versions if _first_day(each) > standard.in_force_from]
    ends = [] if standard.in_force_until is None else [standard.in_force_until]
    ends += [following[0] - timedelta(days=1)] if following else []
    return replace(standard, in_force_until=min(ends, default=None))


def _first_day(data: dict[str, Any]) -> date:
    return date.fromisoformat(data["in_force"]["from"])


def _day(text: str, path: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise BadInput(path, f"{text!r} is not a date (YYYY-MM-DD)") from None
