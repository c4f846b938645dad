"""One person under many spellings: shown to their own employer first, else noted for the registrar."""
# ruff: noqa: RUF001 (letters that look like others are what this is about)

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import IntegrityError, ProgrammingError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext

from registry.database.errors import RecordRefused
from registry.evidence import services as evidence
from registry.people import services as people
from registry.people.likeness import Identity, Likeness, keys_sought, keys_stored, likeness
from registry.people.lookalikes import Candidate, find_lookalikes
from registry.people.models import Account, Employer, PossibleTwin, Worker
from tests.world import World, sign_in

BORN = date(1985, 5, 6)
MIRA = Identity("Mira-Ana", "Sandoval", BORN)
SPELLINGS = {
    "Cyrillic letters among Latin ones": (Identity("Mirа-Аnа", "Sаndоvаl", BORN), "same_name", "same_day"),
    "Greek capitals": (Identity("Μira-Αna", "SΑNDΟVΑL", BORN), "same_name", "same_day"),
    "Cyrillic throughout": (Identity("Мира-Ана", "Сандовал", BORN), "same_name", "same_day"),
    "figures for letters": (Identity("M1ra-Ana", "Sand0val", BORN), "same_name", "same_day"),
    "accents and full-width letters": (Identity("Míra-Ａna", "Ｓandóval", BORN), None, None),
    "swapped, without a hyphen": (Identity("Sandoval", "Mira Ana", BORN), "same_name", "same_day"),
    "run together": (Identity("MiraAna", "San-Doval", BORN), "same_name", "same_day"),
    "initials": (Identity("M. A.", "Sandoval", BORN), "initials", "same_day"),
    "a name left out": (Identity("Mira", "Sandoval", BORN), "initials", "same_day"),
    "one letter off": (Identity("Mira-Ana", "Sandoval".replace("oval", "ovel"), BORN), "one_letter", "same_day"),
    "a day off": (Identity("Mira-Ana", "Sandoval", date(1985, 5, 7)), "same_name", "day_off"),
    "a month off": (Identity("Mira-Ana", "Sandoval", date(1985, 4, 6)), "same_name", "month_off"),
    "a year off": (Identity("Mira-Ana", "Sandoval", date(1986, 5, 6)), "same_name", "year_off"),
    "day and month swapped": (Identity("Mira-Ana", "Sandoval", date(1985, 6, 5)), "same_name", "swapped"),
    "figures swapped": (Identity("Mira-Ana", "Sandoval", date(1958, 5, 6)), "same_name", "swapped"),
    "initials, a day off": (Identity("M", "Sandoval", date(1985, 5, 5)), "initials", "day_off"),
    "no date of birth": (Identity("Sandoval", "Mira Ana", None), "same_name", "no_day"),
    "initials, no date of birth": (Identity("M.", "Sandoval", None), "initials", "no_day"),
}
OTHERS = {
    "another given name": Identity("Rafe", "Sandoval", BORN),
    "another family name": Identity("Mira-Ana", "Lindqvist", BORN),
    "the same name, born on another day": Identity("Mira-Ana", "Sandoval", date(1990, 11, 30)),
    "two slips at once": Identity("Mira-Ana", "Sandovel", date(1985, 5, 7)),
    "the same initials": Identity("Max", "Salo", BORN),
    "numbered names": Identity("Mira-Ana2", "Sandoval", BORN),
    "short names": Identity("Bo", "Ek", None),
}


@pytest.mark.parametrize("spelling", SPELLINGS.values(), ids=SPELLINGS.keys())
def test_a_spelling_is_found_both_ways(spelling: tuple[Identity, str | None, str | None]) -> None:
    other, names, dates = spelling
    found = likeness(MIRA, other)
    assert found is not None
    if names and dates:
        assert found == Likeness(names, dates)
    assert likeness(other, MIRA) == found
    assert set(keys_sought(other)) & set(keys_stored(MIRA))
    assert set(keys_sought(MIRA)) & set(keys_stored(other))


@pytest.mark.parametrize("other", OTHERS.values(), ids=OTHERS.keys())
def test_other_people_are_other_people(other: Identity) -> None:
    assert likeness(MIRA, other) is None


@pytest.mark.parametrize(
    "name", ["", "-", "'", "Ö", "Ł Ø", "黒澤 明", "محمد", "१२३", "A" * 100, " ".join("ABCDEFGHIJKLMNOP"), "\u0300"]
)
def test_every_name_has_keys(name: str) -> None:
    for born in (BORN, None, date.min, date.max, date(2024, 2, 29)):
        identity = Identity(name, name, born)
        assert keys_stored(identity)
        assert likeness(identity, identity)
        assert set(keys_stored(identity)) & set(keys_sought(identity))


# In the register


@pytest.fixture
def world(db: None) -> World:
    return World(datetime.now(UTC).replace(second=0, microsecond=0))


@pytest.fixture
def barred(world: World) -> Worker:
    """Somebody whom the first employer stood down."""
    worker = registered(world, MIRA)
    world.employed(worker)
    evidence.stand_down(
        worker=worker, reason="Dropped a load", start=world.now, recorded_at=world.now, recorded_by=None
    )
    return worker


@pytest.fixture
def stranger(world: World) -> Account:
    """A dispatcher of an employer that never had the barred person."""
    other = people.register_employer(name="Cormorant Lift Yard", jurisdiction="US", recorded_at=world.now)
    return people.open_account(username="stranger", password=None, kind="employer", employer=other)


def registered(world: World, who: Identity, by: Account | None = None, **more: object) -> Worker:
    employer: Employer | None = None if by is None else by.employer
    return people.register_worker(
        given_name=who.given_name,
        family_name=who.family_name,
        date_of_birth=who.date_of_birth,
        recorded_at=world.now,
        recorded_by=by,
        told_to=employer,
        **more,  # type: ignore[arg-type]
    )


def test_every_spelling_of_somebody_barred_is_on_the_registrars_list(
    world: World, barred: Worker, stranger: Account
) -> None:
    spelled = {}
    for how, (who, _names, _dates) in SPELLINGS.items():
        with transaction.atomic():
            spelled[how] = registered(world, who, stranger).pk
            # Each alone: by the second, the stranger would be asked about the first, whom it recorded itself.
            noted = PossibleTwin.objects.get(worker=spelled[how])
            assert noted.other == barred
            assert not noted.told_apart
            transaction.set_rollback(True)
    who = SPELLINGS["initials, a day off"][0]
    twin = registered(world, who, stranger)
    registrar = people.open_account(username="registrar", password=None, kind="registrar")
    inspector = people.open_account(username="inspector", password=None, kind="inspector")
    for account in (registrar, inspector):
        client = Client()
        sign_in(client, account)
        shown = client.get("/inspection/possible-twins/").text
        for each in (twin.number, barred.number, "Sandoval", "Cormorant Lift Yard", "born a day apart"):
            assert each in shown
    for account in (stranger, world.dispatcher()):
        client = Client()
        sign_in(client, account)
        assert client.get("/inspection/possible-twins/").status_code == 403


def test_the_same_name_and_day_at_another_employer_is_noted_and_not_told(
    world: World, barred: Worker, stranger: Account
) -> None:
    client = Client()
    sign_in(client, stranger)
    given = {"given_name": "Mira-Ana", "family_name": "Sandoval", "date_of_birth": "1985-05-06", "start": "2026-01-01"}
    nobody = given | {"given_name": "Ulla", "family_name": "Brant"}
    answers = [client.post("/records/people/new/", each) for each in (nobody, given)]
    # The same answer as for somebody whom nobody knows: where it leads is the new person's own page.
    assert [each.status_code for each in answers] == [302, 302]
    twin = Worker.objects.get(family_name="Sandoval", recorded_by=stranger)
    assert answers[1].headers["Location"] == f"/records/people/{twin.pk}/"
    followed = client.get(answers[1].headers["Location"])
    assert barred.number not in followed.text
    assert PossibleTwin.objects.get().other == barred


def test_an_employer_is_shown_its_own_people_first_and_nothing_is_chosen(world: World, barred: Worker) -> None:
    client = Client()
    sign_in(client, world.dispatcher())
    given = {"given_name": "M.", "family_name": "Sandoval", "date_of_birth": "1985-05-07", "start": "2026-01-01"}
    asked = client.post("/records/people/new/", given)
    assert asked.status_code == 200
    assert f"Yes, {barred.number} Mira-Ana Sandoval" in asked.text
    assert "checked" not in asked.text
    assert not PossibleTwin.objects.exists()
    shown = given | {"shown": [barred.pk]}
    unanswered = client.post("/records/people/new/", shown)
    assert unanswered.status_code == 422
    assert "Say whether it is one of these people, or somebody else." in unanswered.text
    # Whom the page did not show nobody has told apart.
    assert client.post("/records/people/new/", given | {"shown": [], "who": "another"}).status_code == 200
    known = client.post("/records/people/new/", shown | {"who": str(barred.pk)})
    assert known.headers["Location"] == f"/records/people/{barred.pk}/"
    assert Worker.objects.filter(family_name="Sandoval").count() == 1
    client.post("/records/people/new/", shown | {"who": "another"})
    noted = PossibleTwin.objects.get()
    assert (noted.other, noted.told_apart, noted.recorded_by) == (barred, True, Account.objects.get())


def test_nobody_says_that_the_same_name_and_day_is_somebody_else(world: World, barred: Worker) -> None:
    client = Client()
    sign_in(client, world.dispatcher())
    given = {"given_name": "Mirа-Ana", "family_name": "Sandoval", "date_of_birth": "1985-05-06", "start": "2026-01-01"}
    asked = client.post("/records/people/new/", given)
    assert "No, it is somebody else" not in asked.text
    assert client.post("/records/people/new/", given | {"shown": [barred.pk], "who": "another"}).status_code == 422
    with pytest.raises(RecordRefused, match="same name and date of birth"):
        registered(world, MIRA, Account.objects.get(), distinct_from=[barred.pk])
    assert Worker.objects.filter(family_name="Sandoval").count() == 1


def test_an_import_is_asked_the_same(world: World, barred: Worker) -> None:
    dispatcher = world.dispatcher()
    with pytest.raises(RecordRefused, match="looks like this person"):
        registered(world, SPELLINGS["a day off"][0], dispatcher)
    assert registered(world, SPELLINGS["a day off"][0], dispatcher, distinct_from=[barred.pk])


def test_many_people_take_as_many_statements_as_one(world: World, barred: Worker) -> None:
    one = [Candidate("Mirа", "Sandoval", BORN)]
    many = [*one, *(Candidate(f"Given{number}", f"Family{number}", BORN) for number in range(300))]
    counts = []
    for people_asked_about in (one, many):
        with CaptureQueriesContext(connection) as asked:
            found = find_lookalikes(people_asked_about)
        counts.append(len(asked))
        assert [each.worker for each in found[0]] == [barred]
    assert counts == [2, 2]
    assert find_lookalikes([]) == {}
    assert find_lookalikes([Candidate("Mira-Ana", "Sandoval", BORN, worker_id=barred.pk)]) == {}


def test_however_many_are_of_one_name_a_search_looks_at_few(world: World) -> None:
    for number in range(60):
        registered(world, Identity("Ana", "Lind", date(1930, 1, 1) + timedelta(days=400 * number)))
    assert len(find_lookalikes([Candidate("Ana", "Lind")])[0]) == 50


def test_the_database_keeps_everybody_findable_and_the_notes_as_they_are(
    world: World, barred: Worker, stranger: Account
) -> None:
    registered(world, SPELLINGS["a day off"][0], stranger)
    for statement in (
        "INSERT INTO people_worker (number, given_name, family_name, name_key, lookalike_keys, recorded_at)"
        " VALUES ('', 'Ana', 'Lind', 'ana lind', '{}', now())",
        "UPDATE people_possibletwin SET told_apart = true",
        "DELETE FROM people_possibletwin",
        "INSERT INTO people_possibletwin (worker_id, other_id, names, dates, told_apart, recorded_at)"
        f" VALUES ({barred.pk}, {barred.pk}, 'initials', 'no_day', false, now())",
    ):
        with pytest.raises((IntegrityError, ProgrammingError)), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement)
