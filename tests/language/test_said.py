"""What the engine said, in the language in force; a tiny catalogue stands in for the French one."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.utils import translation

from registry.crews.described import DescribedAnswer, readable_reason
from registry.engine.answer import NotCounted
from registry.engine.decide import decide
from registry.engine.evidence import ROLES
from registry.engine.files.case_file import read_case
from registry.engine.sentences import duration, either, listed, moment, said_of, say, say_many
from registry.engine.terms import term
from registry.language import amounts, words
from registry.language.said import in_language, required_in_language, spoken
from registry.standards.asked_for import as_asked_for
from registry.standards.files import shipped_standards
from tests.engine.test_sentences import CASES

CATALOGUE = {
    "%(amount)s missing": "il manque %(amount)s",
    "ends %(count)s day before the window does": "se termine %(count)s jour avant",
    "ends %(count)s days before the window does": "se termine %(count)s jours avant",
    "in force until %(instant)s": "valable jusque %(instant)s",
    "%(one)s or %(other)s": "%(one)s ou %(other)s",
    "erection": "montage",
    "dismantling": "démontage",
    "%(reason)s (%(detail)s)": "%(reason)s [%(detail)s]",
    "too long before the work": "trop ancien",
    "the evidence of %(subject)s changed": "le dossier de %(subject)s a changé",
    "the job was changed or withdrawn": "le travail a été modifié",
}


@pytest.fixture
def french(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """French from :data:`CATALOGUE` alone; nothing of it is kept."""

    def many(one: str, more: str, number: int) -> str:
        return CATALOGUE[one if number < 2 else more]  # in French 0 is singular

    kept = (words._kept, amounts._kept)
    with translation.override("fr"), monkeypatch.context() as patched:
        patched.setattr("registry.language.said._", lambda text: CATALOGUE.get(text, text))
        patched.setattr("registry.language.said.ngettext", many)
        patched.setattr("registry.language.amounts._", lambda text: CATALOGUE.get(text, text))
        patched.setattr("registry.language.words._", lambda text: CATALOGUE.get(text, text))
        patched.setattr("registry.crews.described._", lambda text: CATALOGUE.get(text, text))
        for each in kept:
            each.cache_clear()
        yield
    for each in kept:
        each.cache_clear()


@pytest.mark.usefixtures("french")
def test_a_sentence_is_said_by_its_pattern_and_its_parts() -> None:
    assert spoken(say("%(amount)s missing", amount=duration(330))) == "il manque 5 h 30 min"
    until = moment(datetime(2026, 11, 28, 15, tzinfo=UTC), ZoneInfo("America/Vancouver"))
    assert spoken(say("in force until %(instant)s", instant=until)) == "valable jusque 28 novembre 2026, 07:00"
    assert spoken(either(map(term, ["erection", "dismantling"]))) == "montage ou démontage"


@pytest.mark.usefixtures("french")
def test_plurals_follow_the_language() -> None:
    one, many = "ends %(count)s day before the window does", "ends %(count)s days before the window does"
    assert [spoken(say_many(one, many, count=each)) for each in (0, 1, 2)] == [
        "se termine 0 jour avant",
        "se termine 1 jour avant",
        "se termine 2 jours avant",
    ]


@pytest.mark.usefixtures("french")
def test_why_a_record_did_not_count_is_said_with_its_detail() -> None:
    assert spoken(NotCounted("too_old", ("hours:1",), "Ada Brun").sentence) == "trop ancien [Ada Brun]"


def test_languages_are_said_by_their_names() -> None:
    shared = say("the crew shares: %(languages)s", languages=listed(["en", "pt-BR", "qaa"]))
    either_of = said_of(either(["en", "fr"]))
    with translation.override("fr"):
        assert spoken(shared) == "l’équipe a en commun\u202f: anglais, portugais brésilien (pt-BR), qaa"
        assert required_in_language("language", either_of) == "anglais ou français"
    with translation.override("en"):
        assert required_in_language("language", "en") == "English"
        assert required_in_language("language", said_of(say("not stated"))) == "not stated"
        assert required_in_language("certification", "en") == "en", "only languages have tags"


def test_a_name_that_is_typed_leads_back_to_what_is_stored() -> None:
    with translation.override("fr"):
        assert [words.language_tag(each) for each in ("Anglais", " French ", "pt-BR")] == ["en", "fr", "pt-BR"]
        duties = [as_asked_for(each, ROLES) for each in ("Chef de  montage", "erection supervisor", " Lift  planner")]
    assert duties == ["erection_supervisor", "erection_supervisor", "Lift planner"]


@pytest.mark.usefixtures("french")
def test_what_the_catalogue_does_not_have_stays_english() -> None:
    assert spoken(say("none that counts")) == "none that counts"
    assert in_language(said_of("plain data")) == "plain data"


@pytest.mark.usefixtures("french")
def test_reasons_of_holds_are_said_and_those_of_people_are_left() -> None:
    names = {"worker:12": "Ada Brun"}
    assert readable_reason("the evidence of worker:12 changed", names) == "le dossier de Ada Brun a changé"
    assert readable_reason("the job was changed or withdrawn", names) == "le travail a été modifié"
    assert readable_reason("she fell ill", names) == "she fell ill"


@pytest.mark.usefixtures("french")
def test_an_answer_is_laid_out_in_the_language_in_force_and_an_older_one_in_english() -> None:
    answer = _refused_for_hours()
    (short,) = DescribedAnswer(answer).unmet
    assert short["shortfall"].startswith("il manque ")
    older = _without_said(answer)
    (as_it_was,) = DescribedAnswer(older).unmet
    assert as_it_was["shortfall"] == next(each["shortfall"] for each in answer["requirements"] if each["shortfall"])
    assert as_it_was["not_counted"] == []
    remedy, earlier = DescribedAnswer(answer).remedy, DescribedAnswer(older).remedy
    assert remedy is not None
    assert earlier is not None
    assert [each["sentence"] for each in earlier["items"]] == [each["sentence"] for each in answer["remedy"]["items"]]


def test_older_remedies_show_no_stored_names() -> None:
    older = _without_said(_refused_for_hours())
    older["remedy"]["items"][0]["sentence"] = "instruction on crew_tasks by the third_party"
    remedy = DescribedAnswer(older).remedy
    assert remedy is not None
    assert remedy["items"][0]["sentence"] == "instruction on crew tasks by the third party"


def _refused_for_hours() -> dict[str, Any]:
    """A refusal that rests on one requirement, of hours."""
    for path in CASES:
        case = read_case(path.read_bytes(), shipped=shipped_standards)
        answer = decide(case.evidence, case.standard, case.question).as_json()
        unmet = [each for each in answer["requirements"] if each["needed"] and not each["met"]]
        if (
            len(unmet) == 1
            and unmet[0]["kind"] == "hours"
            and not unmet[0]["not_counted"]
            and answer["remedy"]["items"]
        ):
            return answer
    raise AssertionError("no worked case is refused for hours alone")


def _without_said(answer: Any) -> Any:
    """The answer as it was stored before sentences remembered how they were made."""
    if isinstance(answer, dict):
        return {name: _without_said(each) for name, each in answer.items() if name != "said"}
    return [_without_said(each) for each in answer] if isinstance(answer, list) else answer
