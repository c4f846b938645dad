"""Hidden characters at every door: pages, interface, tables, names of files, accounts, commands, files of rules."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.core.management.base import CommandError
from django.test import Client
from PIL import Image

from registry.crews.models import Job
from registry.database.errors import RecordRefused
from registry.engine.bad_input import BadInput
from registry.evidence.importing import import_file
from registry.evidence.models import Certification, Document, StandDown
from registry.evidence.uploads import CSV, inspect_upload
from registry.people import services as people
from registry.people.invitations import invite
from registry.people.models import Account, Employer, Worker
from registry.standards.files import plain_data
from tests.world import World

HIDDEN = ["\x1b", "\u202e", "\u200b", "\u2028", "\u3164", "\U000e0041"]


@pytest.fixture
def mira(world: World) -> Worker:
    return world.worker("Mira", "Sandoval")


@pytest.mark.parametrize("hidden", HIDDEN)
def test_a_page_refuses_it_beside_its_field(dispatcher: Client, mira: Worker, hidden: str) -> None:
    number = f"U+{ord(hidden):04X}"
    person = {"given_name": f"A{hidden}na", "family_name": "Lind", "date_of_birth": "1990-01-02", "start": "2026-01-01"}
    refused = dispatcher.post("/records/people/new/", person)
    assert refused.status_code == 422
    assert number in refused.text.split('id="id_given_name_error"')[1].split("</div>")[0]
    assert not Worker.objects.filter(family_name="Lind").exists()
    certificate = {"scheme": "Rigging", "number": f"R{hidden}7", "issuer": "Norrland Board", "issued": "2024-03-01"}
    refused = dispatcher.post(f"/records/people/{mira.pk}/add/certificate/", certificate)
    assert refused.status_code == 422
    assert number in refused.text.split('id="id_number_error"')[1].split("</div>")[0]
    assert not Certification.objects.exists()


def test_free_text_has_breaks_and_no_hidden_characters(dispatcher: Client, world: World, mira: Worker) -> None:
    given = {"start": f"{world.now:%Y-%m-%dT%H:%M}", "clock": world.site.time_zone, "occasion": "none"}
    path = f"/records/people/{mira.pk}/add/stand-down/"
    refused = dispatcher.post(path, {**given, "reason": "Dropped a load\r\n\x1b[2Jpermitted"})
    assert refused.status_code == 422
    assert "U+001B" in refused.text
    assert dispatcher.post(path, {**given, "reason": " Dropped\r\na load\t"}).status_code == 302
    assert StandDown.objects.get().reason == "Dropped\na load"


@pytest.mark.parametrize("hidden", HIDDEN)
def test_the_interface_refuses_it_with_the_field(dispatcher: Client, world: World, hidden: str) -> None:
    given = {
        "site": world.site.pk,
        "crane": world.crane.pk,
        "operation": "dismantling",
        "standard_key": "makers-practice-us",
        "start": "2030-01-07T15:00:00Z",
        "end": "2030-01-08T15:00:00Z",
        "roles": ["erector"],
        "description": f"Lower{hidden}it",
    }
    refused = dispatcher.post("/api/jobs/", given, content_type="application/json")
    assert refused.status_code == 400, refused.content
    (problem,) = refused.json()["problems"]
    assert (problem["field"], problem["rule"]) == ("description", "text_has_no_hidden_characters")
    assert f"U+{ord(hidden):04X}" in problem["message"]
    assert not Job.objects.exists()


@pytest.mark.parametrize("hidden", HIDDEN)
def test_a_table_refuses_it_with_row_and_column(world: World, hidden: str, tmp_path: Path) -> None:
    file = tmp_path / "people.csv"
    head = "Given name,Family name,Date of birth,Employed from"
    file.write_text(f'{head}\nIda,Moor,1990-01-02,2026-01-01\n"A{hidden}na",Lind,1990-01-03,2026-01-01\n', "utf-8")
    report = import_file("workers", file, employer=world.employer, recorded_at=world.now, recorded_by=None)
    (problem,) = report.problems
    assert (problem.row, problem.field, problem.rule) == (3, "given_name", "cell_has_no_hidden_characters")
    assert f"U+{ord(hidden):04X}" in problem.message
    assert not Worker.objects.filter(family_name__in=["Moor", "Lind"]).exists()


@pytest.mark.parametrize("hidden", HIDDEN)
def test_a_files_name_is_refused(dispatcher: Client, mira: Worker, hidden: str) -> None:
    with pytest.raises(RecordRefused, match=r"U\+"):
        inspect_upload(name=f"hours{hidden}.csv", content=b"a,b\n1,2\n", accept={CSV})
    picture = io.BytesIO()
    Image.new("RGB", (4, 4)).save(picture, "JPEG")
    given = {"scheme": "Rigging", "number": "R-7", "issuer": "Norrland Board", "issued": "2024-03-01"}
    scan = SimpleUploadedFile("scan.jpg", picture.getvalue())
    scan._name = f"sc{hidden}an.jpg"  # type: ignore[attr-defined] # past what Python itself would clean
    dispatcher.post(f"/records/people/{mira.pk}/add/certificate/", {**given, "document": scan})
    assert not Document.objects.filter(name__contains=hidden).exists()


@pytest.mark.parametrize("hidden", HIDDEN)
def test_nobody_takes_a_user_name_with_it(world: World, client: Client, hidden: str) -> None:
    made = invite(kind="registrar", invited_by=None, invited_at=world.now)
    password = "a-long-invented-word"
    given = {"username": f"re{hidden}gi", "password1": password, "password2": password}
    client.post(f"/invitations/{made.token}/", given)
    assert not Account.objects.filter(kind="registrar").exists()
    with pytest.raises(RecordRefused):
        people.open_account(username=f"re{hidden}gi", password=None, kind="registrar")


def test_commands_refuse_it(world: World) -> None:
    account = people.open_account(username="leaver", password=None, kind="registrar")
    with pytest.raises(CommandError, match=r"U\+202E"):
        call_command("close_account", "leaver", because="Has\u202e left")
    account.refresh_from_db()
    assert account.is_active


def test_files_of_rules_refuse_it_with_the_place() -> None:
    with pytest.raises(BadInput, match=r"U\+202E") as refused:
        plain_data('roles:\n  - title: "erec\\u202Etor"\n')
    assert refused.value.path == "$.roles[0].title"


def test_an_employers_name_and_address_are_cleaned(world: World) -> None:
    made = people.register_employer(
        name="Norr\u00a0 land", jurisdiction="US", address="Quay 4\r\nNorrland", recorded_at=world.now
    )
    assert Employer.objects.values_list("name", "address").get(pk=made.pk) == ("Norr land", "Quay 4\nNorrland")
