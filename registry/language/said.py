"""The engine's sentences in the language in force."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from registry.engine.answer import LeafResult
from registry.engine.crew import CrewFinding
from registry.engine.sentences import Said, said_of
from registry.engine.standard import Source
from registry.language.amounts import day, duration, instant
from registry.language.words import in_words, language_name

TAGS = frozenset({"language", "languages"})
"""Placeholders that the engine fills with tags of languages. People read the languages' names."""


def spoken(text: str, said: Said = None) -> str:
    """A text of the engine in the language in force.

    ``said`` is what a stored answer has beside its English text. A
    :class:`~registry.engine.sentences.Sentence` knows it itself. Text of
    which nothing is known, as in answers stored before, stays as it is.
    """
    return in_language(said_of(text) if said is None else said)


def authored(text: str) -> str:
    """A text of a role standard (its sentences, titles and notes) in the language in force."""
    return _(text) if text else ""


def finding_in_language(finding: CrewFinding) -> CrewFinding:
    """A crew rule's finding with its texts in the language in force."""
    return replace(finding, sentence=spoken(finding.sentence), source=_source(finding.source))


def leaf_in_language(leaf: LeafResult) -> LeafResult:
    """A requirement's account with its texts in the language in force, but for the reasons of what did not count."""
    return replace(
        leaf,
        sentence=authored(leaf.sentence),
        source=_source(leaf.source),
        required=required_in_language(leaf.kind, said_of(leaf.required)),
        found=spoken(leaf.found),
        shortfall=spoken(leaf.shortfall),
    )


def required_in_language(kind: str, said: Said) -> str:
    """What a requirement of ``kind`` asks for, in the language in force; of languages, their names."""
    return in_language(_named(said) if kind == "language" else said)


def _source(source: Source) -> Source:
    return replace(source, title=authored(source.title), note=authored(source.note))


def in_language(said: Said) -> str:
    """What is described by ``said``, in the language in force."""
    if isinstance(said, list):
        return "".join(map(in_language, said))
    if not isinstance(said, dict):
        return "" if said is None else str(said)
    if "say" in said:
        return _pattern(said)
    if "at" in said:
        return instant(datetime.fromisoformat(said["at"]), ZoneInfo(said["zone"]))
    if "day" in said:
        return day(date.fromisoformat(said["day"]))
    if "minutes" in said:
        return duration(said["minutes"])
    if "term" in said:
        return in_words(said["term"])
    return _list(said)


def _pattern(said: dict[str, Any]) -> str:
    values = {name: in_language(_named(each) if name in TAGS else each) for name, each in said.get("with", {}).items()}
    if "many" in said:
        return ngettext(said["say"], said["many"], said["count"]) % {"count": said["count"], **values}
    return _(said["say"]) % values if values else _(said["say"])


def _named(said: Said) -> Said:
    """Tags of languages as their names."""
    if isinstance(said, str):
        return language_name(said)
    if isinstance(said, dict) and "listed" in said:
        return {**said, "listed": [_named(each) for each in said["listed"]]}
    return said


def _list(said: dict[str, Any]) -> str:
    parts = [in_language(each) for each in said["listed"]]
    if not said["or"]:
        return ", ".join(parts)
    found = "".join(parts[:1])
    for each in parts[1:]:
        found = _("%(one)s or %(other)s") % {"one": found, "other": each}
    return found
