"""What is refused is said in one sentence a rule, all of them in one table, in the language in force."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.apps import apps
from django.db import DatabaseError
from django.utils import translation
from django.utils.functional import Promise

from registry.database.errors import HIDDEN, OF_EVERY_TABLE, RecordRefused, broken, translate
from registry.language import refusals
from registry.language.refusals import SENTENCES

ROOT = Path(refusals.__file__).parents[2]
SCHEMA = (ROOT / "registry/database/schema.sql").read_text(encoding="utf-8")
REFUSING = {"broken", "cell_refused", "refuse", "refuse_column", "refuse_row", "sentence_of", "Stopped"}
"""What takes a rule: the first text among its arguments that names one is it."""
CARRYING = {"Problem", "RowProblem", "RecordRefused", "ValueRefused", "FileRefused", "Stopped", *REFUSING}
READ_APART = ROOT / "registry/evidence/apart"
"""The process that reads files has no Django, and so its own sentences; ``running`` is the side that answers."""

WITHOUT_A_SENTENCE = {
    "a_database_holds_one_register": "made by the first migration",
    "a_register_has_a_number": "made by the first migration",
    "a_record_enters_the_log_once": "the log's own trigger writes it",
    "a_subtree_has_one_hash": "the log's own trigger writes it",
    "a_standard_has_each_version_once": "the loader of standards looks first, and says which file",
    "two_versions_of_a_standard_do_not_start_on_one_day": "the loader of standards looks first, and says which file",
    "a_standard_does_not_end_before_it_starts": "the loader of standards looks first, and says which file",
    "an_accepted_invitation_names_its_account": "accepting writes both at once",
    "assignment_event_kind_is_known": "the services write the kinds",
    "decision_depends_on_a_subject_once": "filled from the sealed decision by a trigger",
    "employment_code_keeps_only_its_sha256": "the service hashes",
    "invitation_keeps_only_the_tokens_sha256": "the service hashes",
    "shared_link_keeps_only_the_tokens_sha256": "the service hashes",
    "link_opening_says_what": "the page writes what it opened",
}
"""Constraints that no act of a person can break, whatever they enter: only a slip of the program."""


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


def calls(*, outside: tuple[Path, ...] = ()) -> Iterator[tuple[Path, str, ast.Call]]:
    for path in sorted([*ROOT.glob("registry/**/*.py"), *ROOT.glob("api/**/*.py")]):
        if path in outside:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
                yield path, name, node


def texts(node: ast.AST) -> list[str]:
    return [each.value for each in ast.walk(node) if isinstance(each, ast.Constant) and isinstance(each.value, str)]


def refused_by_sql() -> set[str]:
    return set(re.findall(r"registry_refuse\(\s*'(\w+)'", SCHEMA))


def constraints() -> set[str]:
    """All that the database has, also those that PostgreSQL named."""
    return set(re.findall(r"CONSTRAINT (\w+) (?:CHECK|UNIQUE|EXCLUDE)", SCHEMA)) | set(
        re.findall(r"CREATE UNIQUE INDEX (\w+)", SCHEMA)
    )


def declared() -> set[str]:
    """Constraints that our models name."""
    ours = [each for each in apps.get_models() if each.__module__.startswith("registry.")]
    return {each.name for model in ours for each in model._meta.constraints}


def refused_by_python() -> set[str]:
    """Rules by their names, and those made of a field's: ``role_is_known`` where a cell is one of a list."""
    found: set[str] = set()
    for _path, name, call in calls():
        named = [text for each in call.args[:2] if not isinstance(each, ast.JoinedStr) for text in texts(each)]
        if name in REFUSING and named:
            found.add(next((each for each in named if each in SENTENCES), named[-1]))
        elif name in ("choice", "choices") and isinstance(call.func, ast.Attribute) and named:
            found.add(f"{named[0]}_is_known")
    return found


def test_every_rule_has_a_sentence() -> None:
    of_every_table = {each for each in declared() if any(names.fullmatch(each) for names, _rule in OF_EVERY_TABLE)}
    rules = (declared() | refused_by_sql() | refused_by_python()) - of_every_table
    assert sorted(rules - SENTENCES.keys() - WITHOUT_A_SENTENCE.keys()) == []
    assert sorted(WITHOUT_A_SENTENCE.keys() - (declared() - SENTENCES.keys())) == []


def test_every_sentence_has_a_rule() -> None:
    table = ROOT / "registry/language/refusals.py"
    # A rule may be chosen before it is refused, so any text of the sources may be its name.
    named = {
        text
        for path in ROOT.glob("registry/**/*.py")
        if path != table and "migrations" not in path.parts
        for text in texts(ast.parse(path.read_text(encoding="utf-8")))
    }
    assert sorted(SENTENCES.keys() - constraints() - refused_by_sql() - refused_by_python() - named) == []


def test_a_rule_has_one_sentence_and_it_stands_in_the_table() -> None:
    table = ast.parse((ROOT / "registry/language/refusals.py").read_text(encoding="utf-8"))
    (sentences,) = (each for each in ast.walk(table) if isinstance(each, ast.Dict))
    written = [each.value for each in sentences.keys if isinstance(each, ast.Constant)]
    assert len(written) == len(set(written)) == len(SENTENCES)
    elsewhere = [
        f"{path.relative_to(ROOT)}:{call.lineno}"
        for path, name, call in calls(outside=(READ_APART / "tables.py", READ_APART / "contents.py"))
        if name in CARRYING
        and any(
            isinstance(each, ast.Call) and getattr(each.func, "id", "") in ("_", "gettext", "gettext_lazy", "ngettext")
            for each in ast.walk(call)
        )
    ]
    assert elsewhere == []


def test_sql_says_the_rule_and_nothing_else() -> None:
    living = {each: each.read_text(encoding="utf-8") for each in ROOT.glob("registry/*/sql/*.sql")}
    assert [each.name for each, text in living.items() if "RAISE" in text] == ["refuse.sql"]
    assert all(re.fullmatch(r"\w+", each) for each in refused_by_sql())


def test_what_the_database_refuses_needs_no_values() -> None:
    found_by_the_database = ((constraints() | refused_by_sql()) & SENTENCES.keys()) - {HIDDEN}
    assert [each for each in sorted(found_by_the_database) if "%" in broken(each).message] == []


def test_a_sentence_is_filled_with_what_the_service_knows() -> None:
    problem = broken("employer_is_registered_once", "firm", known="Alder")
    assert (problem.field, problem.rule) == ("firm", "employer_is_registered_once")
    assert problem.message == "Alder is registered already."
    with pytest.raises(KeyError):
        broken("employer_is_registered_once")


@pytest.mark.parametrize("constraint", ["job_withdrawal_supersedes_a_job", "evidence_standdown_supersedes_id_key"])
def test_what_every_table_of_records_has_keeps_its_name_as_the_rule(constraint: str) -> None:
    (problem,) = refused(constraint).problems
    assert (problem.field, problem.rule) == ("supersedes", constraint)
