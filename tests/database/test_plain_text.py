"""What is stored can be seen: asked by every statement that writes, and by the database."""

from __future__ import annotations

import unicodedata
from datetime import UTC, datetime

import pytest
from django.apps import apps
from django.db import connection, transaction
from django.db.utils import IntegrityError

from registry.database.errors import RecordRefused, translate
from registry.database.plain_columns import plain_columns
from registry.language.plain_text import hidden_character
from registry.people.models import Account, Employer, Worker
from registry.people.services import open_account, register_employer
from tests.language.test_plain_text import HIDDEN
from tests.world import World

NOW = datetime(2026, 1, 5, 12, tzinfo=UTC)
STORABLE = {name: each for name, each in HIDDEN.items() if each != "\ud800"}


@pytest.mark.django_db
@pytest.mark.parametrize("character", HIDDEN.values(), ids=HIDDEN.keys())
def test_a_model_refuses_it_and_names_field_and_character(character: str) -> None:
    with pytest.raises(RecordRefused) as refused:
        Employer.objects.create(name=f"Nor{character}rland", jurisdiction="US", recorded_at=NOW)
    (problem,) = refused.value.problems
    assert (problem.field, problem.rule) == ("name", "text_has_no_hidden_characters")
    assert f"U+{ord(character):04X}" in problem.message
    assert problem.message.startswith("Name holds")


@pytest.mark.django_db
@pytest.mark.parametrize("character", STORABLE.values(), ids=STORABLE.keys())
def test_the_database_refuses_it_too(character: str) -> None:
    with pytest.raises(IntegrityError) as refused, transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO people_employer (name, jurisdiction, responsible_person, address, recorded_at)"
            " VALUES ('Norrland', 'US', '', %s, now())",
            [f"Quay 4\nNor{character}rland"],
        )
    said = translate(refused.value)
    assert isinstance(said, RecordRefused)
    assert said.problems[0].field == "address"
    assert f"U+{ord(character):04X}" in said.problems[0].message


@pytest.mark.django_db
def test_a_line_break_is_for_free_text_only() -> None:
    insert = (
        "INSERT INTO people_employer (name, jurisdiction, responsible_person, address, recorded_at)"
        " VALUES (%s, 'US', '', %s, now())"
    )
    with connection.cursor() as cursor:
        cursor.execute(insert, ["Norrland", "Quay 4\n\tNorrland"])
        with pytest.raises(IntegrityError, match="text_has_no_hidden_characters") as refused, transaction.atomic():
            cursor.execute(insert, ["Norr\nland", ""])
    assert refused.value.__cause__.diag.column_name == "name"  # type: ignore[union-attr]


@pytest.mark.django_db
def test_lists_and_data_are_searched_too() -> None:
    world = World(NOW)
    statement = (
        "INSERT INTO evidence_assessment (recorded_at, withdrawn, kind, role, configuration, operations, assessed_at,"
        " outcome, tasks, third_party, signature, worker_id, model_id, assessor_id, employer_id)"
        " VALUES (now(), false, 'practical', 'erector', '', %s, now(), 'pass', %s, '', '', %s, %s, %s, %s)"
    )
    people = [world.worker("Ida", "Moor").pk, world.model.pk, world.assessor.pk, world.employer.pk]
    with connection.cursor() as cursor:
        for operations, tasks in (
            (["erection\u200b"], "[]"),
            (["erection"], '[{"task": "a\u202eb"}]'),
            (["erection"], '[{"task": "a\\u001bb"}]'),
            (["erection"], '[{"task": "a\\\\\\u001bb"}]'),
        ):
            with pytest.raises(IntegrityError, match="text_has_no_hidden_characters"), transaction.atomic():
                cursor.execute(statement, [operations, tasks, *people])
        cursor.execute(
            statement, [["erection"], '[{"task": "a backslash, then \\\\u001b, in so many letters"}]', *people]
        )


@pytest.mark.django_db
def test_changes_and_bulk_are_asked_as_well() -> None:
    account = open_account(username="ana", password=None, kind="registrar")
    account.first_name = "An\u200ba"
    with pytest.raises(RecordRefused), transaction.atomic():
        account.save()
    with pytest.raises(RecordRefused), transaction.atomic():
        Account.objects.filter(pk=account.pk).update(last_name="Li\u202end")
    with pytest.raises(RecordRefused), transaction.atomic():
        Employer.objects.bulk_create([Employer(name="Nor\u200brland", jurisdiction="US", recorded_at=NOW)])
    with connection.cursor() as cursor, pytest.raises(IntegrityError, match="hidden"), transaction.atomic():
        cursor.execute("UPDATE people_account SET username = %s WHERE id = %s", ["a\u200bna", account.pk])


@pytest.mark.django_db
def test_what_is_stored_is_cleaned_in_the_object_too() -> None:
    employer = register_employer(
        name=" Norrland\u00a0 Hoist ", jurisdiction="US", address="Quay 4\r\nNorrland ", recorded_at=NOW
    )
    assert (employer.name, employer.address) == ("Norrland Hoist", "Quay 4\nNorrland")
    employer.refresh_from_db()
    assert (employer.name, employer.address) == ("Norrland Hoist", "Quay 4\nNorrland")


@pytest.mark.django_db
def test_the_database_guards_every_text_that_the_models_say_is_plain() -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT tgrelid::regclass::text, tgargs FROM pg_trigger WHERE tgname = 'text_is_plain' AND tgenabled = 'O'"
        )
        guarded = {table: bytes(said).decode().split("\0")[:3] for table, said in cursor.fetchall()}
    wanted = {each._meta.db_table: plain_columns(each) for each in apps.get_models(include_auto_created=True)}
    said = {table: [f"{{{','.join(each)}}}" for each in columns] for table, columns in wanted.items() if any(columns)}
    assert guarded == said
    assert {"people_worker", "people_account", "evidence_hoursentry", "standards_standardversion"} <= guarded.keys()


@pytest.mark.django_db
def test_only_what_is_sealed_or_hashed_is_left_alone() -> None:
    verbatim = {each.__name__: each.verbatim for each in apps.get_models() if hasattr(each, "verbatim")}
    assert verbatim == {
        "Checkpoint": ("note",),
        "Entry": ("kind", "leaf"),
        "Decision": ("statement", "configuration"),
        "SentNotice": ("content",),
        "NamedSupervisor": ("content",),
    }


@pytest.mark.django_db
def test_the_database_knows_the_characters_that_the_code_knows() -> None:
    """Unicode's own tables, as Python's ``unicodedata`` and PostgreSQL hold them, the latter's of a later version."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT number FROM generate_series(1, 1114111) number WHERE number NOT BETWEEN 55296 AND 57343"
            " AND registry_hides_characters(chr(number), '', '')"
        )
        hidden = {chr(number) for (number,) in cursor.fetchall()}
    known = {each for number in range(1, 0x110000) if hidden_character(each := chr(number))}
    surrogates = {chr(number) for number in range(0xD800, 0xE000)}
    assert hidden - known == set()
    assert {unicodedata.category(each) for each in known - hidden - surrogates} <= {"Cn"}


@pytest.mark.django_db
def test_a_worker_is_never_stored_with_a_hidden_character_in_the_name() -> None:
    with pytest.raises(IntegrityError, match="hidden"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO people_worker (number, given_name, family_name, name_key, recorded_at)"
            " VALUES ('', %s, 'Lind', 'lind', now())",
            ["An\u200da"],
        )
    assert not Worker.objects.exists()
