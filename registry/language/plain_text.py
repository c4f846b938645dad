"""Text that reads as it looks: no characters that cannot be seen, or that change how others are read.

Every door leads here: models of all packages by :mod:`registry.database.backend.compiler`, cells of
tables, names of files, role standards. The database refuses the same (``database/sql/plain_text.sql``).

A *line* is a name, a number, a title. *Lines* are free text, which may have line breaks and tabs.

The zero-width joiner and non-joiner, which Indic scripts and Persian write, are refused like other formats: between
letters of most scripts they cannot be seen, so that two names would look the same and not be.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from typing import Any

from registry.engine.harmless import is_visible

SPACES = re.compile(r"[\t\n\r \u00a0\u1680\u2000-\u200a\u202f\u205f\u3000]+")
"""What stands between words in a line: Unicode's space separators, tabs and line breaks."""
BREAKS = re.compile(r"\r\n?")
OUTER = "\t\n\r \u00a0\u1680\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2007\u2008\u2009\u200a\u202f\u205f\u3000"

# They choose how the sign before them is drawn; telephones put them behind signs such as a tick.
DRAWN = re.compile("[\ufe0e\ufe0f]")


def line(text: str) -> str:
    """The text composed (NFC), on one line, with one space between words and none around them.

    >>> line(" Ana\\u00a0 Lind\\n")
    'Ana Lind'
    """
    if text.isascii() and text.isprintable() and "  " not in text:
        return text.strip()
    return SPACES.sub(" ", unicodedata.normalize("NFC", text)).strip()


def lines(text: str) -> str:
    """The text composed (NFC), with line feeds for breaks and no space around it.

    >>> lines("first \\r\\nsecond\\r")
    'first \\nsecond'
    """
    if text.isascii() and text.isprintable():
        return text.strip()
    return BREAKS.sub("\n", DRAWN.sub("", unicodedata.normalize("NFC", text))).strip(OUTER)


def hidden_character(text: str, *, several_lines: bool = False) -> str | None:
    """The first character that cannot be seen or changes how others are read; ``None`` for a plain text."""
    if text.isascii() and text.isprintable():
        return None
    allowed = "\n\t" if several_lines else ""
    return next((each for each in text if each not in allowed and not is_visible(each)), None)


def hidden_within(data: Any, path: str = "") -> tuple[str, str] | None:
    """Where in JSON-like data the first hidden character stands (``requirements[2].title``), and the character."""
    return next(
        ((where, found) for where, text in _texts(data, path) if (found := hidden_character(text, several_lines=True))),
        None,
    )


def code_point(character: str) -> str:
    """A character as Unicode numbers and names it: ``U+202E RIGHT-TO-LEFT OVERRIDE``."""
    number = f"U+{ord(character):04X}"
    name = unicodedata.name(character, "")
    return f"{number} {name}" if name else number


def seen(text: str, *, several_lines: bool = True) -> str:
    """The text with a replacement character (``U+FFFD``) for each hidden one, to be printed from old records.

    >>> seen("Ana\\x1b[2J")
    'Ana\ufffd[2J'
    """
    if text.isascii() and text.isprintable():
        return text
    allowed = "\n\t" if several_lines else ""
    return "".join("\ufffd" if each not in allowed and not is_visible(each) else each for each in text)


def _texts(data: Any, path: str) -> Iterator[tuple[str, str]]:
    """Every text in the data with its place; without recursion, since data nest as deep as somebody likes."""
    waiting = [(path, data)]
    while waiting:
        where, each = waiting.pop()
        if isinstance(each, str):
            yield where, each
        elif isinstance(each, dict):
            for key, value in each.items():
                if isinstance(key, str):
                    yield where, key
                waiting.append((f"{where}.{key}" if where else str(key), value))
        elif isinstance(each, list | tuple):
            waiting += [(f"{where}[{number}]", value) for number, value in enumerate(each)]
