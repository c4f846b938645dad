"""Sentences in the language of whoever handed in the file, without Django: its catalogues are gettext's own."""

from __future__ import annotations

import gettext
from pathlib import Path

LOCALE = Path(__file__).resolve().parents[3] / "locale"

_catalogue: gettext.NullTranslations = gettext.NullTranslations()


def speak(language: str) -> None:
    """Say everything in this language from now on; English where there is no catalogue."""
    global _catalogue
    _catalogue = gettext.translation("django", LOCALE, [language], fallback=True)


def say(sentence: str) -> str:
    """The sentence in the language in force."""
    return _catalogue.gettext(sentence)
