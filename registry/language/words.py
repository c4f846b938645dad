"""Stored names as people say them, in the language in force."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache

from django.conf.locale import LANG_INFO
from django.utils.functional import lazy
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from registry.engine.terms import in_english

LANGUAGES_IN_SMALL_LETTERS = frozenset({"fr"})
"""Languages that write the names of languages with a small letter: ``l'anglais``."""


def in_words(name: str) -> str:
    """A name the registry stores, as people say it: ``not_yet_competent`` → ``not yet competent``."""
    return _kept(str(name), get_language() or "en")


@lru_cache(maxsize=4096)
def _kept(name: str, _language: str) -> str:
    english = in_english(name)
    return _(english) if english else ""


in_words_lazy = lazy(in_words, str)
"""The same, for labels that are made before the language is known."""


def listed(names: Iterable[str]) -> str:
    """Stored names in words, with commas."""
    return ", ".join(in_words(each) for each in names)


def language_name(tag: str) -> str:
    """A language by its name in the language in force, or by its BCP 47 tag where no name is known."""
    known = LANG_INFO.get(tag.lower()) or LANG_INFO.get(tag.split("-")[0].lower())
    if known is None or "name" not in known:
        return tag
    name = _(known["name"])
    if (get_language() or "en").partition("-")[0] in LANGUAGES_IN_SMALL_LETTERS:
        name = name.lower()
    return name if "-" not in tag else f"{name} ({tag})"


def language_names() -> dict[str, str]:
    """The tags of the languages whose names are known, in the order of their names in the language in force."""
    named = {tag: language_name(tag) for tag, known in LANG_INFO.items() if "name" in known and "-" not in tag}
    return dict(sorted(named.items(), key=lambda each: each[1]))


def language_tag(typed: str) -> str:
    """The tag of a language typed by its name, in the language in force or in English; else what was typed."""
    wanted = typed.strip().casefold()
    for tag, name in language_names().items():
        if wanted in (name.casefold(), str(LANG_INFO[tag]["name"]).casefold()):
            return tag
    return typed.strip()


def set_apart(parts: Iterable[str]) -> str:
    """Parts of one text with semicolons between them, as the language in force sets them."""
    return f"{_(';')} ".join(parts)


def choices_of(names: Iterable[str]) -> list[tuple[str, str]]:
    """Stored names with their labels, as a field's choices."""
    return [(each, in_words_lazy(each)) for each in names]
