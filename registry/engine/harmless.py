"""Text of records as a terminal may print it, and as people would hold two texts to be one.

Names and free text come from whoever wrote them. A terminal obeys control codes, some
characters turn the order of a line around, some take no room at all: a name could
so write a verdict of its own. :func:`visible` shows such a character by its number instead.
"""

from __future__ import annotations

import json
import re
import unicodedata
from functools import lru_cache
from typing import Any

INVISIBLE_CATEGORIES = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
"""Control, format (bidirectional and zero-width ones too), halves of pairs, private, unassigned, line ends."""

INVISIBLE_LETTERS = re.compile(
    "[\u034f\u115f\u1160\u17b4\u17b5\u180b-\u180f\u2800\u3164\ufe00-\ufe0f\uffa0\U000e0100-\U000e01ef]"
)
"""Letters and marks without a form (Unicode: Default_Ignorable_Code_Point), and the blank Braille pattern."""


def is_visible(character: str) -> bool:
    """Whether a character is seen where it stands, or is a space."""
    return unicodedata.category(character) not in INVISIBLE_CATEGORIES and not INVISIBLE_LETTERS.match(character)


def visible(text: str) -> str:
    r"""The text with every character that is not seen written as its number: ``\u202e``."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(each if is_visible(each) else _numbered(each) for each in text)


def in_line(text: str) -> str:
    """:func:`visible` text of which no run of spaces pushes the rest onto a line of its own."""
    return " ".join(visible(text).split())


def as_json(data: Any) -> str:
    """Indented JSON in which what is not seen is escaped; it reads back as the same data."""
    lines = json.dumps(data, indent=2, ensure_ascii=False).split("\n")
    return "\n".join("".join(each if is_visible(each) else _escaped(each) for each in line) for line in lines)


def spelled_alike(one: str, other: str) -> bool:
    """Whether two spellings are of one name: case, spaces, underscores and punctuation make no difference.

    But for what stands between two figures: class 1-5 is not class 15.
    """
    return one == other or name_key(one) == name_key(other)


@lru_cache(maxsize=4096)
def name_key(text: str) -> str:
    """By what :func:`spelled_alike` compares: as :func:`folded`, with a space where figures are apart."""
    plain = unicodedata.normalize("NFKC", text).casefold()
    key = ""
    for word in "".join(each if each.isalnum() else " " for each in plain).split():
        key += f" {word}" if key[-1:].isdigit() and word[0].isdigit() else word
    return key or plain.strip()


@lru_cache(maxsize=4096)
def folded(text: str) -> str:
    """Letters and digits alone, without case and width: how two spellings of one number or name compare."""
    plain = unicodedata.normalize("NFKC", text).casefold()
    return "".join(each for each in plain if each.isalnum()) or plain.strip()


def _numbered(character: str) -> str:
    return f"\\u{ord(character):04x}" if ord(character) < 0x10000 else f"\\U{ord(character):08x}"


def _escaped(character: str) -> str:
    """As JSON escapes it: one beyond the first plane as a pair."""
    return json.dumps(character)[1:-1] if ord(character) > 0x7F else f"\\u{ord(character):04x}"
