"""Files that cost too much are stopped, with a sentence, and nothing else feels them."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import tempfile
import threading
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import psutil
import pytest
from django.conf import settings
from django.utils import translation

from registry.database.errors import RecordRefused
from registry.evidence.apart import running
from registry.evidence.apart.lines import line_of, row_of, written
from registry.evidence.apart.running import OF_A_DOCUMENT, OF_AN_UPLOADED_TABLE, Limits, Stopped, answers, turn
from registry.evidence.apart.tables import FileRefused, Row, Unreadable, Value, open_table
from registry.evidence.models import Document
from registry.evidence.uploads import TABLES, inspect_upload
from tests import hostile
from tests.evidence.importing.tables import as_csv, as_xlsx

MANY = 12_000_000
MEMORY = 200 * 1024**2


@pytest.fixture(autouse=True)
def _turns_of_these_tests(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(running, "data_folder", SimpleNamespace(locate=lambda: tmp_path))


def stopped(job: str, content: bytes, limits: Limits, **options: Any) -> str:
    """The rule by which reading was stopped."""
    with tempfile.TemporaryFile() as file:
        file.write(content)
        file.flush()
        with pytest.raises(Stopped) as caught:
            for _line in answers(job, file, limits=limits, **options):
                pass
    assert caught.value.message
    return caught.value.rule


def refused(name: str, content: bytes, **options: Any) -> str:
    with pytest.raises(RecordRefused) as caught:
        inspect_upload(name=name, content=content, **options)
    (problem,) = caught.value.problems
    return problem.rule


def test_a_pdf_that_unpacks_to_millions_of_objects_is_stopped() -> None:
    content = hostile.pdf_of_many_objects(MANY)
    assert len(content) < 300_000
    assert refused("letter.pdf", content) == "file_is_read_in_memory"


def test_a_pdf_whose_page_unpacks_to_gigabytes_is_refused() -> None:
    assert refused("letter.pdf", hostile.pdf_of_a_long_stream(300)) == "pdf_unpacks_to_a_papers_size"
    assert inspect_upload(name="letter.pdf", content=hostile.pdf_of_a_long_stream(20)).content


@pytest.mark.parametrize("side", [60_000, 2**31 - 1])
def test_a_picture_of_too_many_pixels_is_refused(side: int) -> None:
    assert refused("photo.png", hostile.png_of_many_pixels(side)) == "picture_is_not_too_large"


def test_a_heic_of_too_many_pixels_is_refused() -> None:
    # ISO/IEC 23008-12, 6.5.3: the box ispe has a version, then width and height.
    start = b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"
    assert refused("p.heic", start + b"\x00\x00\x00\x14ispe" + bytes(4) + b"\x00\x01\x00\x00" * 2) == (
        "picture_is_not_too_large"
    )


def test_a_workbook_that_is_read_for_minutes_is_stopped() -> None:
    quickly = replace(OF_AN_UPLOADED_TABLE, processor=1)
    content = hostile.workbook_of_many_cells(2000, 200)
    assert stopped("table", content, quickly) == "file_is_read_in_time"


def test_what_takes_too_long_without_working_is_stopped_too() -> None:
    quickly = replace(OF_AN_UPLOADED_TABLE, clock=0.2)
    assert stopped("table", hostile.workbook_of_many_cells(2000, 200), quickly) == "file_is_read_in_time"


def test_memory_is_watched_from_outside_where_the_system_does_not_hold_to_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """As on macOS: the child may take what it likes, and is stopped by what it took."""
    started = subprocess.Popen

    def without_address_limit(command: list[str], **more: Any) -> Any:
        return started([*command[:-1], command[-1].replace(str(MEMORY), str(2**62))], **more)

    monkeypatch.setattr(running.subprocess, "Popen", without_address_limit)
    little = replace(OF_A_DOCUMENT, memory=MEMORY)
    content = hostile.pdf_of_many_objects(MANY)
    assert stopped("document", content, little, media_type="application/pdf") == "file_is_read_in_memory"


def test_an_answer_may_not_be_endless() -> None:
    content = as_csv([{"a": "x" * 1000}] * 100)
    assert stopped("table", content, replace(OF_AN_UPLOADED_TABLE, answer=50_000)) == "file_is_read_in_memory"


def test_a_table_has_at_most_so_many_rows_and_columns() -> None:
    for content in (as_csv([{"a": 1}] * 11), as_xlsx([{"a": 1}] * 11)):
        with open_table(io.BytesIO(content), most_rows=10) as table:
            rows = table.rows
            with pytest.raises(FileRefused, match="more than 10 rows"):
                list(rows)
    wide = as_csv([{f"c{number}": "1" for number in range(300)}])
    with pytest.raises(FileRefused, match="300 columns"), open_table(io.BytesIO(wide)):
        pass


def test_nothing_is_kept_of_what_was_stopped(db: None) -> None:
    before = Document.objects.count()
    refused("letter.pdf", hostile.pdf_of_many_objects(MANY))
    assert Document.objects.count() == before


def test_a_child_is_over_when_nobody_listens_any_more() -> None:
    before = set(psutil.Process().children())
    with tempfile.TemporaryFile() as file:
        file.write(as_csv([{"a": "x" * 100}] * 20_000))
        file.flush()
        said = answers("table", file, limits=OF_AN_UPLOADED_TABLE)
        next(said)
        (child,) = set(psutil.Process().children()) - before
        said.close()
        assert not child.is_running()


def test_the_child_loads_no_framework_and_gets_no_secret(monkeypatch: pytest.MonkeyPatch) -> None:
    loaded = subprocess.run(
        [sys.executable, "-c", "import registry.evidence.apart.__main__, sys; print(*sys.modules)"],
        cwd=settings.PROJECT,
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split()
    assert not {each.partition(".")[0] for each in loaded} & {"django", "psycopg", "openpyxl", "pikepdf", "PIL"}
    given: list[dict[str, str]] = []

    def noted(command: list[str], **more: Any) -> Any:
        given.append(more["env"])
        raise OSError("not started in this test")

    monkeypatch.setenv("SECRET_KEY", "the secret of this test")
    monkeypatch.setattr(running.subprocess, "Popen", noted)
    with tempfile.TemporaryFile() as file, pytest.raises(OSError, match="not started"):
        next(answers("table", file, limits=OF_AN_UPLOADED_TABLE))
    assert given[0].keys() == {"PATH", "PYTHONUTF8", "MALLOC_ARENA_MAX"}


def test_the_child_speaks_the_language_of_who_asked() -> None:
    with translation.override("fr"), pytest.raises(RecordRefused) as caught:
        inspect_upload(name="a.pdf", content=b"%PDF-1.7\nnothing of a document\n%%EOF\n")
    assert "endommagé" in str(caught.value)


def test_rows_keep_their_types_on_the_way() -> None:
    when = datetime(2026, 3, 4, 7, 30)
    values: list[Value] = ["1", 1, 1.5, True, None, "\ud800", when, date(2026, 3, 4), time(7), timedelta(1.5)]
    row = Row(7, [*values, Unreadable("rule", "sentence")])
    read = row_of(json.loads(written(line_of(row))))
    assert read == row
    assert [type(each) for each in read.values] == [type(each) for each in row.values]


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(running, "LONGEST_WAIT", 0.1)


@pytest.mark.usefixtures("impatient")
def test_everybody_has_one_file_read_at_a_time_and_the_machine_a_few() -> None:
    with turn("employer 1"):
        with pytest.raises(Stopped) as caught, turn("employer 1"):
            pass
        assert caught.value.rule == "one_file_at_a_time"
        with turn("employer 2"), turn("employer 3"):
            with pytest.raises(Stopped) as caught, turn("employer 4"):
                pass
            assert caught.value.rule == "not_too_many_files_at_once"
    with turn("employer 4"), turn("employer 1"):
        pass


def test_a_turn_that_becomes_free_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    begun, over = threading.Event(), threading.Event()

    def hold() -> None:
        with turn("employer 1"):
            begun.set()
            over.wait(60)

    holder = threading.Thread(target=hold)
    holder.start()
    begun.wait(60)
    threading.Timer(0.3, over.set).start()
    with turn("employer 1"):
        assert over.is_set()
    holder.join()


@pytest.mark.usefixtures("impatient")
def test_whoever_has_to_wait_is_told_beside_the_file() -> None:
    content = as_xlsx([{"a": 1}])
    with turn("employer 1"):
        assert refused("t.xlsx", content, accept=TABLES, owner="employer 1") == "one_file_at_a_time"
        assert inspect_upload(name="t.xlsx", content=content, accept=TABLES, owner="employer 2").content
