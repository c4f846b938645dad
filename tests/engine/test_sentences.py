"""The engine's English remembers how it was made, so that it can be said again in another language."""

from __future__ import annotations

import copy
import pickle
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from babel.messages.extract import extract_from_dir
from django.utils import translation

from registry.engine.decide import decide
from registry.engine.files.case_file import read_case
from registry.engine.reasons import REASONS
from registry.engine.sentences import (
    Sentence,
    authored,
    day_of,
    duration,
    either,
    joined,
    listed,
    moment,
    said_of,
    say,
    say_many,
)
from registry.engine.terms import WORDS, term
from registry.language.said import in_language
from registry.standards.files import shipped_standards

ROOT = Path(__file__).parents[2]
CASES = sorted((ROOT / "fixtures" / "cases").glob("*.json"))


def texts(answer: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    """Every text of the answer that has ``said`` beside it, with it."""
    yield from zip(answer["objections"], answer["said"]["objections"], strict=True)
    for leaf in answer["requirements"]:
        for name in ("required", "found", "shortfall"):
            yield leaf[name], leaf["said"][name]
        for group in leaf["not_counted"]:
            yield group["sentence"], group["said"]
    if answer["remedy"] is not None:
        yield answer["remedy"]["obstacle"], answer["remedy"]["said"]["obstacle"]
        for item in answer["remedy"]["items"]:
            yield item["sentence"], item["said"]


def patterns(said: Any) -> Iterator[str]:
    """Every text of the catalogue that ``said`` asks for."""
    if isinstance(said, list):
        for each in said:
            yield from patterns(each)
    elif isinstance(said, dict):
        if "say" in said:
            yield said["say"]
        for each in (*said.get("with", {}).values(), *said.get("listed", [])):
            yield from patterns(each)


@pytest.fixture(scope="module")
def answers() -> list[tuple[str, dict[str, Any], set[str]]]:
    """Each worked case's name and answer, and the texts that its own standard brings."""
    found = []
    for path in CASES:
        case = read_case(path.read_bytes(), shipped=shipped_standards)
        standard = case.standard
        leaves = {leaf.sentence for role in standard.by_role_and_operation.values() for leaf in role.leaves()}
        own = leaves | {standard.title}
        found.append((path.stem, decide(case.evidence, standard, case.question).as_json(), own))
    return found


def test_every_sentence_said_again_in_english_is_the_text_beside_it_but_with_languages_by_their_names(
    answers: list[tuple[str, dict[str, Any], set[str]]],
) -> None:
    with translation.override("en"):
        differing = [
            (name, text, in_language(said))
            for name, answer, _own in answers
            for text, said in texts(answer)
            if in_language(said) != text
        ]
    tagged, named = (f"a working language in common: {each}" for each in ("en", "English"))
    assert differing == [("trap-language-not-shared", tagged, named)]
    assert sum(1 for _name, answer, _own in answers for _each in texts(answer)) > 500


def test_every_pattern_is_marked_in_the_engine_or_written_in_the_standard(
    answers: list[tuple[str, dict[str, Any], set[str]]],
) -> None:
    keywords = {"say": None, "say_many": (1, 2), "sentence": None}
    marked: set[str] = set()
    for _file, _line, message, _comments, _context in extract_from_dir(ROOT / "registry" / "engine", keywords=keywords):
        marked.update((message,) if isinstance(message, str) else message)
    unknown = {
        pattern
        for _name, answer, own in answers
        for _text, said in texts(answer)
        for pattern in patterns(said)
        if pattern not in marked and pattern not in own
    }
    assert unknown == set()
    assert set(REASONS.values()) <= marked
    assert set(WORDS.values()) <= marked


def test_only_the_texts_that_are_data_read_the_same_in_every_language(
    answers: list[tuple[str, dict[str, Any], set[str]]],
) -> None:
    # The one thing people read that may be plain data: a language's tag, where languages are required.
    plain = {
        text for _name, answer, _own in answers for text, said in texts(answer) if isinstance(said, str) and text != ""
    }
    assert plain <= {"en", "fr", "es", "de"}


def test_a_sentence_reads_as_english_text() -> None:
    zone = ZoneInfo("America/Vancouver")
    assert say("none that counts") == "none that counts"
    assert say("%(amount)s missing", amount=duration(330)) == "5 h 30 min missing"
    assert say_many("%(count)s day", "%(count)s days", count=1) == "1 day"
    assert say_many("%(count)s day", "%(count)s days", count=2) == "2 days"
    assert moment(datetime(2026, 11, 28, 15, tzinfo=UTC), zone) == "28 Nov 2026, 07:00"
    assert day_of(date(2026, 9, 3)) == "3 Sep 2026"
    assert [duration(each) for each in (45, 60, 90, 75_600)] == ["45 min", "1 h", "1 h 30 min", "1,260 h"]
    assert either(["erection", "climbing", "dismantling"]) == "erection or climbing or dismantling"
    assert listed(["one", "two"]) == "one, two"
    assert joined(["First.", "Second."]) == "First. Second."
    assert either([]) == listed([]) == joined([]) == ""


def test_a_text_with_a_percent_sign_is_left_alone() -> None:
    assert authored("at least 50 % of the hours (%s)") == "at least 50 % of the hours (%s)"
    with translation.override("en"):
        assert in_language(said_of(authored("at least 50 % of the hours (%s)"))) == "at least 50 % of the hours (%s)"


def test_names_in_a_sentence_are_never_taken_for_patterns() -> None:
    made = say("%(trainee)s is paired with %(erector)s", trainee="100%(erector)s", erector="Ada Brun")
    assert made == "100%(erector)s is paired with Ada Brun"
    with translation.override("en"):
        assert in_language(made.said) == made


def test_copies_of_a_sentence_still_know_how_it_was_made() -> None:
    made = say("%(amount)s missing", amount=duration(5))
    for copied in (copy.deepcopy(made), pickle.loads(pickle.dumps(made))):
        assert isinstance(copied, Sentence)
        assert (copied, copied.said) == (made, made.said)


def test_stored_names_are_called_as_people_call_them() -> None:
    assert term("assist_crane_operator") == "assist-crane operator"
    assert term("a_duty_of_its_own") == "a duty of its own"
