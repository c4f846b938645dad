"""What the database refuses is said in the language in force."""

from __future__ import annotations

import pytest
from django.db import DatabaseError
from django.utils import translation
from django.utils.functional import Promise

from registry.database.errors import SENTENCES, RecordRefused, translate


class Diagnostics(Exception):
    """What psycopg says of a broken constraint."""

    def __init__(self, constraint: str) -> None:
        super().__init__(constraint)
        self.diag = type("Diag", (), {"constraint_name": constraint})()


def refused(constraint: str) -> RecordRefused:
    error = DatabaseError(constraint)
    error.__cause__ = Diagnostics(constraint)
    translated = translate(error)
    assert isinstance(translated, RecordRefused)
    return translated


def test_every_constraints_sentence_waits_for_the_language() -> None:
    assert [name for name, (_field, sentence) in SENTENCES.items() if not isinstance(sentence, Promise)] == []


@pytest.mark.parametrize(
    "constraint", ["hours_end_is_after_start", "hours_withdrawal_supersedes_a_record", "hours_supersedes_id_key"]
)
def test_a_refusal_is_a_sentence_in_the_language_when_it_is_found(
    constraint: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    with translation.override("en"):
        english = refused(constraint)
        monkeypatch.setattr("django.utils.translation._trans.gettext", lambda text: f"«{text}»")
        said = refused(constraint)
    assert type(english.problems[0].message) is str
    assert said.problems[0].message == f"«{english.problems[0].message}»"
    assert str(said) == said.problems[0].message
