"""Rows of a table as lines of JSON, so that what another process read keeps its types."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from typing import Any

from registry.evidence.apart.tables import Row, Unreadable, Value

READ: dict[str, Callable[[str], Value]] = {
    "instant": datetime.fromisoformat,
    "day": date.fromisoformat,
    "clock": time.fromisoformat,
}


def line_of(row: Row) -> list[Any]:
    """The row as plain data."""
    return [row.number, [_plain(each) for each in row.values]]


def row_of(line: list[Any]) -> Row:
    """The row that :func:`line_of` made plain."""
    number, values = line
    return Row(number, [_value(*each) if isinstance(each, list) else each for each in values])


def written(line: Any) -> bytes:
    """Plain data as one line. What a text cannot hold, half of a surrogate pair, is escaped."""
    return json.dumps(line, separators=(",", ":")).encode() + b"\n"


def _plain(value: Value) -> Any:
    if isinstance(value, Unreadable):
        return ["unreadable", value.rule, value.message]
    if isinstance(value, timedelta):
        return ["length", value.days, value.seconds, value.microseconds]
    if isinstance(value, datetime):
        return ["instant", value.isoformat()]
    if isinstance(value, date):
        return ["day", value.isoformat()]
    if isinstance(value, time):
        return ["clock", value.isoformat()]
    return value


def _value(kind: str, *parts: Any) -> Value:
    if kind == "unreadable":
        return Unreadable(*parts)
    if kind == "length":
        days, seconds, microseconds = parts
        return timedelta(days=days, seconds=seconds, microseconds=microseconds)
    return READ[kind](*parts)
