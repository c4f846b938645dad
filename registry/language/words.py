"""Stored names as people say them, in the language in force."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache

from django.utils.functional import lazy
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from registry.eligibility.words import in_english


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


def choices_of(names: Iterable[str]) -> list[tuple[str, str]]:
    """Stored names with their labels, as a field's choices."""
    return [(each, in_words_lazy(each)) for each in names]
