"""The chart of hours says the figures that the tables say."""

from __future__ import annotations

import re

import pytest

from registry.transcripts.hours_chart import SCREEN, hours_chart


def said(minutes: dict[int, int]) -> tuple[str, list[str]]:
    """The title of a chart of one model, and what is written in it."""
    drawn = hours_chart({"Brandvold BT-180": minutes}, layout=SCREEN)
    return drawn[drawn.index("<title>") : drawn.index("</title>")], re.findall(r">([^<>]*)</text>", drawn)


@pytest.mark.parametrize(("minutes", "whole"), [(20, "20 min"), (560, "9 h 20 min"), (600, "10 h")])
def test_a_total_has_its_minutes(minutes: int, whole: str) -> None:
    title, written = said({2025: minutes})
    assert f"Brandvold BT-180: {whole}." in title
    assert f"{whole} in all" in written


@pytest.mark.parametrize(("minutes", "mark"), [(59, "&lt;1"), (60, "1"), (119, "1")])
def test_a_mark_over_a_bar_is_in_whole_hours(minutes: int, mark: str) -> None:
    assert mark in said({2025: minutes})[1]
