"""Sentences that can be said again in another language.

The engine writes English, and knows no catalogue of translations. A
:class:`Sentence` is that English text, and remembers how it was made: the
pattern with its named placeholders, and what was put into them. As plain data
(:attr:`Sentence.said`) this goes into the stored answer beside the text, and
``registry.language.said`` renders it in the language in force.

``say``, ``say_many`` and :func:`sentence` mark the patterns for the tool that
extracts them for translators.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any, TypeAlias
from zoneinfo import ZoneInfo

Said: TypeAlias = "dict[str, Any] | list[Any] | str | int | None"
"""How a text was made, as plain JSON data:

- a string: data such as a name, the same in every language; a number
- ``{"say": pattern}``: a text of the catalogue; with ``"with"``: and what fills its placeholders (by name);
  with ``"many"`` and ``"count"``: a plural
- ``{"at": instant, "zone": name}``, ``{"day": date}``, ``{"minutes": number}``, ``{"term": stored name}``
- ``{"listed": [...], "or": true}``: a list, joined by "or", or else by commas
- a list: texts that follow one another
"""

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


class Sentence(str):
    """English text; :attr:`said` is how it was made."""

    __slots__ = ("said",)
    said: Said

    def __new__(cls, text: str, said: Said = None) -> Sentence:
        """Text that is said as ``said``; without it, data that reads the same in every language."""
        made = super().__new__(cls, text)
        made.said = text if said is None else said
        return made


Value: TypeAlias = "str | int"
"""What fills a placeholder: a :class:`Sentence`, data, or a number."""


def sentence(pattern: str) -> str:
    """Mark a text in a table for translation; it is said later by :func:`say`."""
    return pattern


def say(pattern: str, **values: Value) -> Sentence:
    """``say("%(amount)s missing", amount=duration(5))`` → ``5 min missing``."""
    if not values:
        return Sentence(pattern, {"say": pattern})
    return Sentence(pattern % values, {"say": pattern, "with": _said_of_all(values)})


def say_many(one: str, many: str, *, count: int, **values: Value) -> Sentence:
    """The pattern for one or for many, filled with ``count`` and ``values``."""
    filled = {"count": count, **values}
    said: dict[str, Said] = {"say": one, "many": many, "count": count}
    if values:
        said["with"] = _said_of_all(values)
    return Sentence((one if count == 1 else many) % filled, said)


def authored(text: str) -> Sentence:
    """A text of a role standard: it is its own entry in the catalogue."""
    return Sentence(text, {"say": text} if text else "")


def moment(instant: datetime, zone: ZoneInfo) -> Sentence:
    """``28 Nov 2026, 07:00`` by a clock in ``zone``."""
    local = instant.astimezone(zone)
    text = f"{local.day} {MONTHS[local.month - 1]} {local.year}, {local:%H:%M}"
    return Sentence(text, {"at": instant.isoformat(), "zone": zone.key})


def day_of(when: date) -> Sentence:
    """``28 Nov 2026``."""
    return Sentence(f"{when.day} {MONTHS[when.month - 1]} {when.year}", {"day": when.isoformat()})


def duration(minutes: int) -> Sentence:
    """``90`` → ``1 h 30 min``."""
    hours, rest = divmod(minutes, 60)
    if not rest:
        text = f"{hours:,} h"
    else:
        text = f"{hours:,} h {rest} min" if hours else f"{rest} min"
    return Sentence(text, {"minutes": minutes})


def either(values: Iterable[str]) -> Sentence:
    """``erection or climbing``."""
    found = list(values)
    if len(found) == 1 and isinstance(found[0], Sentence):
        return found[0]
    return Sentence(" or ".join(found), {"listed": [said_of(each) for each in found], "or": True})


def listed(values: Iterable[str]) -> Sentence:
    """``erection, climbing``."""
    found = list(values)
    return Sentence(", ".join(found), {"listed": [said_of(each) for each in found], "or": False})


def joined(values: Iterable[str], by: str = " ") -> Sentence:
    """Whole sentences, one after another."""
    found = list(values)
    if not found:
        return Sentence("")
    parts: list[Said] = [said_of(found[0])]
    for each in found[1:]:
        parts += [by, said_of(each)]
    return Sentence(by.join(found), parts)


def said_of(value: Value) -> Said:
    """How a text was made; plain text is data."""
    return value.said if isinstance(value, Sentence) else value


def _said_of_all(values: dict[str, Value]) -> dict[str, Said]:
    return {name: said_of(each) for name, each in values.items()}
