"""A table is looked through before anything of it is written."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from typing import Any

import pytest
from django.core.cache import caches
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from registry.evidence.apart import running
from registry.evidence.importing import import_file, reading
from registry.evidence.models import Certification, Countersignature, Document, HoursEntry
from registry.people import services as people
from registry.people.models import Account, Employment, LanguageSkill, PossibleTwin, Worker
from registry.web import limits
from tests import hostile
from tests.world import World


@pytest.fixture
def mira(world: World) -> Worker:
    return world.worker("Mira", "Sandoval")


def upload(client: Client, kind: str, text: str, name: str = "table.csv") -> str:
    response = client.post("/records/import/", {"kind": kind, "file": SimpleUploadedFile(name, text.encode())})
    assert response.status_code == 302, response.text
    return str(response.headers["Location"])


def look(client: Client, path: str, **changed: str) -> str:
    """What the table would bring in, with the columns as they were recognised but for some changes."""
    shown: str = client.post(path, sent(client.get(path).text, do="look", **changed)).text
    return shown


def hours_of(worker: Worker, *, day: str = "7 May 2024", extra: str = "") -> str:
    header = "Who,Crane model,Site,Date,Start,End,Operation,Countersigned by,Countersigned on"
    signer = f"{worker.number},{day}"
    return f"{header}{extra}\n{worker.number},Brandvold BT-180,Quillon Wharf,{day},07:00,15:00,Montage,{signer}\n"


def sent(shown: str, **changed: str) -> dict[str, str]:
    """What a browser sends back from the page, with some choices changed."""
    found: dict[str, str] = {}
    for name, options in re.findall(r'<select name="(\w+)"[^>]*>(.*?)</select>', shown, re.S):
        chosen = re.search(r'value="([^"]*)" selected', options)
        found[name] = chosen[1] if chosen else ""
    return {**found, "sheet": "", "encoding": "", **changed}


def test_headings_are_recognised_mapped_by_hand_looked_through_and_imported(
    world: World, dispatcher: Client, mira: Worker
) -> None:
    path = upload(dispatcher, "hours", hours_of(mira))
    first = dispatcher.get(path).text
    assert "there is no column for worker" in look(dispatcher, path)
    assert re.search(r'name="column_1".*?value="model" selected', first, re.S)
    looked = dispatcher.post(path, sent(first, column_0="worker", do="look")).text
    assert "1 row: 1 new" in looked
    assert "This was a dry run: nothing was written." in looked
    assert f"= {mira.number} Mira Sandoval" in looked
    assert "= 2024-05-07" in looked
    assert "= erection" in looked
    assert re.search(r'name="column_0".*?value="worker" selected', looked, re.S)
    assert not HoursEntry.objects.exists()
    done = dispatcher.post(path, sent(looked, do="import")).text
    assert "The new rows are in the register." in done
    assert HoursEntry.objects.get().worker == mira


def test_new_people_are_looked_through_with_what_belongs_to_them(world: World, dispatcher: Client) -> None:
    table = "Given name,Family name,Date of birth,Employed since,Languages\nIlse,Brankova,1990-04-02,2026-01-05,en\n"
    assert "1 row: 1 new" in look(dispatcher, upload(dispatcher, "workers", table))
    assert not Worker.objects.filter(family_name="Brankova").exists()


@pytest.mark.parametrize("encoding", ["punycode", "undefined", "utf-16", "idna", "a\0b"])
def test_an_encoding_that_is_not_on_the_list_is_told_beside_its_field(dispatcher: Client, encoding: str) -> None:
    path = upload(dispatcher, "workers", "Given name,Family name\nIlse,Brankova\n")
    shown = dispatcher.get(path).text
    answer = dispatcher.post(path, sent(shown, encoding=encoding, do="look"))
    assert answer.status_code == 422
    assert 'id="id_encoding_error"' in answer.text


def test_every_encoding_on_the_list_reads_a_table(dispatcher: Client) -> None:
    table = "Given name,Family name,Date of birth,Employed since\nIlse,Brankova,1990-04-02,2026-01-05\n"
    path = upload(dispatcher, "workers", table)
    shown = dispatcher.get(path).text
    listed = re.findall(r'<option value="([^"]*)"', shown.split('<select name="encoding"')[1].split("</select>")[0])
    assert "cp1252" in listed
    for encoding in listed:
        assert "1 row: 1 new" in dispatcher.post(path, sent(shown, encoding=encoding, do="look")).text, encoding


def test_a_table_signs_for_nobody(world: World, dispatcher: Client, mira: Worker) -> None:
    path = upload(dispatcher, "hours", hours_of(mira))
    shown = dispatcher.get(path).text
    assert 'value="countersigner"' not in shown
    dispatcher.post(path, sent(shown, column_0="worker", do="import"))
    assert HoursEntry.objects.count() == 1
    assert not Countersignature.objects.exists()
    assert "assessments" not in dispatcher.get("/records/import/").text.split("<select")[1].split("</select>")[0]


def test_problems_stand_beside_their_cells_and_nothing_is_written(
    world: World, dispatcher: Client, mira: Worker
) -> None:
    text = (
        "Worker,Scheme,Number,Issued by,Issued on\n"
        + f"{mira.number},Rigging,1,Keel Board,03/04/2024\nW-000000,Rigging,2,Keel Board,2024-03-04\n"
    )
    path = upload(dispatcher, "certifications", text)
    shown = dispatcher.post(path, sent(dispatcher.get(path).text, do="look"))
    cells = re.findall(r'<td class="wrong">(.*?)</td>', shown.text, re.S)
    assert len(cells) == 2
    assert cells[0].startswith("03/04/2024")
    assert cells[1].startswith("W-000000")
    imported = dispatcher.post(path, sent(shown.text, do="import"))
    assert "Nothing was written." in imported.text
    assert not Certification.objects.filter(worker=mira).exists()
    partly = dispatcher.post(path, sent(shown.text, dates="day-first", partial="on", do="import"))
    assert "The new rows are in the register." in partly.text
    assert Certification.objects.get(worker=mira).issued.isoformat() == "2024-04-03"


def test_a_field_chosen_twice_is_refused_beside_the_second(world: World, dispatcher: Client, mira: Worker) -> None:
    path = upload(dispatcher, "hours", hours_of(mira))
    shown = dispatcher.post(path, sent(dispatcher.get(path).text, column_0="worker", column_7="worker", do="look"))
    assert shown.status_code == 422
    assert 'id="id_column_7_error"' in shown.text
    assert "A is this field already." in shown.text


def test_only_the_first_rows_are_shown(world: World, dispatcher: Client) -> None:
    people = [world.worker("Ada", f"Weir{number:02}") for number in range(23)]
    rows = "".join(f"{each.number},Rigging,{each.pk},Keel Board,2024-03-04\n" for each in people)
    path = upload(dispatcher, "certifications", "Worker,Scheme,Number,Issued by,Issued on\n" + rows)
    shown = look(dispatcher, path)
    assert "23 rows: 23 new" in shown
    assert shown.count("<tr>") == 1 + 20


@pytest.mark.parametrize(
    ("name", "content"),
    [("t.csv", b"%PDF-1.7\n%%EOF"), ("t.csv.exe", b"a,b\n"), ("t.csv", b""), ("t.xlsx", b"PK\x03\x04 no workbook")],
)
def test_a_file_that_is_no_table_is_refused_beside_its_field(
    dispatcher: Client, world: World, name: str, content: bytes
) -> None:
    refused = dispatcher.post("/records/import/", {"kind": "hours", "file": SimpleUploadedFile(name, content)})
    assert refused.status_code == 422
    assert 'id="id_file_error"' in refused.text
    assert not Document.objects.filter(name__startswith="t").exists()


def test_an_upload_is_its_owners_only(world: World, dispatcher: Client, another_employer: Client, mira: Worker) -> None:
    path = upload(dispatcher, "hours", hours_of(mira))
    assert another_employer.get(path).status_code == 403
    assert dispatcher.get(path.replace("hours", "assessments")).status_code == 404
    scan: Any = world.scan
    assert dispatcher.get(f"/records/import/hours/{scan.pk}/").status_code == 403


def test_a_table_that_cannot_be_read_says_why(world: World, dispatcher: Client) -> None:
    content = "Prénom;Nom\n".encode("cp1252")
    response = dispatcher.post("/records/import/", {"kind": "workers", "file": SimpleUploadedFile("t.csv", content)})
    path = str(response.headers["Location"])
    assert "does not fit" in dispatcher.get(path).text
    assert "Pr\u00e9nom" in dispatcher.post(path, {"encoding": "cp1252", "do": "look"}).text


def test_of_two_columns_with_one_heading_the_chosen_one_is_taken(world: World, dispatcher: Client) -> None:
    header = "Given name,Given name,Family name,Date of birth,Employed from"
    path = upload(dispatcher, "workers", f"{header}\nAda,Bruna,Dupcol,1990-01-01,2026-01-01\n")
    first = dispatcher.get(path).text
    dispatcher.post(path, sent(first, do="import"))
    assert Worker.objects.get(family_name="Dupcol").given_name == "Ada"
    path = upload(dispatcher, "workers", f"{header}\nCleo,Dora,Zweicol,1990-01-01,2026-01-01\n")
    dispatcher.post(path, sent(first, column_0="", column_1="given_name", do="import"))
    assert Worker.objects.get(family_name="Zweicol").given_name == "Dora"


def test_columns_are_recognised_once_the_encoding_is_named(world: World, dispatcher: Client) -> None:
    text = "Given name,Family name,Date of birth,Employed from\nZoë,Ångström,1990-01-01,2026-01-01\n"
    table = SimpleUploadedFile("people.csv", text.encode("cp1252"))
    path = dispatcher.post("/records/import/", {"kind": "workers", "file": table}).headers["Location"]
    first = dispatcher.get(path).text
    assert "column_0" not in first
    looked = dispatcher.post(path, sent(first, encoding="cp1252", do="look")).text
    assert "1 row: 1 new" in looked
    assert "Zoë" in looked


def test_a_table_names_nobody_of_another_employers(world: World, another_employer: Client, mira: Worker) -> None:
    header = "Worker,Scheme,Number,Issuer,Issued"
    path = upload(another_employer, "certifications", f"{header}\n{mira.number},rigging,9,Board,2025-01-01\n")
    shown = look(another_employer, path)
    assert f"Nobody on the books has this number, or this name and date of birth: {mira.number}" in shown
    assert "Sandoval" not in shown
    another_employer.post(path, sent(shown, do="import"))
    assert not Certification.objects.exists()


def test_a_table_of_people_takes_nobody_on_who_is_registered(
    world: World, another_employer: Client, mira: Worker
) -> None:
    header = "Given name,Family name,Date of birth,Number,Employed from,Languages"
    row = "Mira,Sandoval,1985-05-05,{},2026-01-01,fr"
    path = upload(another_employer, "workers", f"{header}\n{row.format('')}\n")
    shown = another_employer.post(path, sent(another_employer.get(path).text, do="import")).text
    # As for anybody else: the register knows another person now, and the registrar that it may be one.
    assert "The new rows are in the register." in shown
    assert mira.number not in shown
    assert PossibleTwin.objects.filter(other=mira).exists()
    assert LanguageSkill.objects.filter(worker=mira).count() == 1
    path = upload(another_employer, "workers", f"{header}\n{row.format(mira.number)}\n")
    shown = another_employer.post(path, sent(another_employer.get(path).text, do="import")).text
    assert "one by one" in shown
    assert Employment.objects.filter(worker=mira).count() == 1


def people_of_one_name(rows: int, apart: int = 1) -> str:
    return hostile.people_of_one_name(rows, apart=apart).replace("hired", "Employed from")


def test_looking_at_a_table_again_costs_little_and_starts_nothing(
    dispatcher: Client, monkeypatch: pytest.MonkeyPatch, django_assert_max_num_queries: Any
) -> None:
    path = upload(dispatcher, "workers", people_of_one_name(420))

    def never(*_given: object, **_more: object) -> None:
        raise AssertionError("a page that is only looked at reads and weighs nothing")

    monkeypatch.setattr("registry.evidence.apart.running.subprocess.Popen", never)
    monkeypatch.setattr("registry.web.records.views.bring_in_table", never)
    with django_assert_max_num_queries(15):
        page = dispatcher.get(path)
    assert page.status_code == 200
    assert 'name="column_0"' in page.text
    assert dispatcher.get(path, {"do": "look"}).status_code == 200
    assert dispatcher.get(path, {"do": "import"}).status_code == 200


def test_a_table_is_read_once_for_each_way_of_reading_it(dispatcher: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    started = []
    popen = running.subprocess.Popen

    def counted(*given: Any, **more: Any) -> Any:
        started.append(given)
        return popen(*given, **more)

    monkeypatch.setattr("registry.evidence.apart.running.subprocess.Popen", counted)
    path = upload(dispatcher, "workers", people_of_one_name(2, apart=5000))
    for _time in range(3):
        assert "2 rows: 2 new" in look(dispatcher, path)
    assert len(started) == 1
    look(dispatcher, path, encoding="cp1252")
    assert len(started) == 2


def test_a_kept_table_that_is_lost_is_read_again(dispatcher: Client) -> None:
    path = upload(dispatcher, "workers", people_of_one_name(2, apart=5000))
    caches["read_tables"].clear()
    assert dispatcher.get(path).status_code == 200
    assert "2 rows: 2 new" in look(dispatcher, path)


def test_people_of_one_name_cost_no_more_each_than_others(world: World) -> None:
    """By the command, which takes any number of them; on the page there may be two."""

    def statements(rows: int) -> int:
        employer = people.register_employer(name=f"Yard {rows}", jurisdiction="US", recorded_at=world.now)
        content = people_of_one_name(rows).replace("Ann", f"Ann{rows}").encode()
        with CaptureQueriesContext(connection) as asked:
            report = import_file(
                "workers", io.BytesIO(content), employer=employer, recorded_at=world.now, recorded_by=None
            )
        assert report.new + report.refused == rows
        return len(asked)

    few, many = statements(20), statements(80)
    assert many < 4 * few + 20


def test_a_table_that_costs_too_much_is_refused_beside_the_file_and_not_kept(
    dispatcher: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reading, "OF_AN_UPLOADED_TABLE", replace(reading.OF_AN_UPLOADED_TABLE, processor=1))
    rows = "".join(f"Ann,Lee{number},1990-01-01,2026-01-05\n" for number in range(1001))
    table = SimpleUploadedFile("t.csv", ("given name,family name,born,hired\n" + rows).encode())
    page = dispatcher.post("/records/import/", {"kind": "workers", "file": table})
    # It is kept: another kind takes more rows. But nothing of it is weighed.
    shown = look(dispatcher, str(page.headers["Location"]))
    assert "more than 1000 rows" in shown
    before = Document.objects.count()
    for content in (hostile.workbook_of_many_cells(1_500, 200), hostile.pdf_of_many_objects(1000)):
        page = dispatcher.post("/records/import/", {"kind": "hours", "file": SimpleUploadedFile("t.xlsx", content)})
        assert page.status_code == 422
        assert 'id="id_file_error"' in page.text
    assert Document.objects.count() == before


def test_the_page_says_what_it_takes_before_a_file_is_chosen(dispatcher: Client) -> None:
    page = dispatcher.get("/records/import/").text
    assert "up to 5 MB" in page
    assert re.search(r"hours, at most 10.000 rows", page)
    assert re.search(r"workers, at most 1.000 rows", page)


def test_looks_are_counted_before_they_are_taken(
    dispatcher: Client, world: World, signed_in: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(limits.LIMITS, "table", "3/60m/user,5/60m/key")
    path = upload(dispatcher, "workers", people_of_one_name(2))
    first = dispatcher.get(path).text
    answers = [dispatcher.post(path, sent(first, do="look")).status_code for _time in range(3)]
    assert answers == [200, 200, 429]
    # Another account of the same employer has what is left of the employer's own limit.
    account = Account.objects.get(kind="employer", employer=world.employer)
    second = signed_in(
        people.open_account(username="second", password=None, kind="employer", employer=account.employer)
    )
    table = {"kind": "workers", "file": SimpleUploadedFile("t.csv", people_of_one_name(1).encode())}
    assert second.post("/records/import/", table).status_code == 302
    table["file"] = SimpleUploadedFile("t.csv", people_of_one_name(1).encode())
    assert [second.post("/records/import/", table).status_code for _time in range(3)][-1] == 429


def test_imports_of_people_are_counted_more_narrowly(dispatcher: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(limits.LIMITS, "import_people", "2/60m/user,9/1d/key")
    path = upload(dispatcher, "workers", people_of_one_name(2))
    first = dispatcher.get(path).text
    answers = [dispatcher.post(path, sent(first, do="import")).status_code for _time in range(3)]
    assert answers == [200, 200, 429]
    assert dispatcher.post(path, sent(first, do="look")).status_code == 200
