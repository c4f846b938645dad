"""When two written names of a firm, a place or a machine are one name."""

import unicodedata
from collections.abc import Iterable


def on_one_line(text: str) -> str:
    """The text without line breaks, and with one space where there were several."""
    return " ".join(text.split())


def spelling_key(name: str) -> str:
    """The name without accents, case, spaces and punctuation between words.

    A mark between two figures counts: ``2-10`` and ``21-0`` are two numbers.

    >>> spelling_key("UV 210-S") == spelling_key("uv-210 s")
    True
    >>> spelling_key("2-10") == spelling_key("21-0")
    False
    """
    decomposed = unicodedata.normalize("NFKD", name)
    marked = [each if each.isalnum() else " " for each in decomposed if not unicodedata.combining(each)]
    words = "".join(marked).casefold().split()
    key = ""
    for word in words:
        key += f" {word}" if key[-1:].isdigit() and word[0].isdigit() else word
    return key or name


def same_spelling(name: str, among: Iterable[str]) -> str | None:
    """The name among those known that differs in spelling at most."""
    key = spelling_key(name)
    return next((each for each in among if spelling_key(each) == key), None)
