"""``manage.py decide CASE.json …``: no database, exit status, JSON path of what is wrong, nothing forged."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from registry.crews.management.commands import decide as command
from registry.engine.bad_input import BadInput
from registry.engine.files.case_file import read_case
from registry.engine.files.shipped import named_standard
from registry.engine.harmless import as_json, is_visible
from registry.standards.files import shipped_standards

PROJECT = Path(__file__).parents[2]
CASES = sorted((PROJECT / "fixtures" / "cases").glob("*.json"))


def decide(
    *arguments: str, tmp_path: Path, given: bytes | None = None, **more: str
) -> subprocess.CompletedProcess[bytes]:
    # An unreachable database shows that none is asked.
    environment = (
        os.environ | {"DATABASE_URL": "postgres://nobody@127.0.0.1:1/none", "REGISTRY_DATA": str(tmp_path)} | more
    )
    return subprocess.run(
        [sys.executable, "manage.py", "decide", *arguments],
        cwd=PROJECT,
        env=environment,
        input=given,
        capture_output=True,
        timeout=60,
        check=False,
    )


def case_that_is(outcome: str) -> Path:
    return next(each for each in CASES if json.loads(each.read_text())["expected"]["outcome"] == outcome)


@pytest.mark.parametrize(("outcome", "status"), [("permitted", 0), ("refused", 1)])
def test_the_exit_status_is_the_answer(outcome: str, status: int, tmp_path: Path) -> None:
    case = case_that_is(outcome)
    text = decide(str(case), tmp_path=tmp_path)
    assert (text.returncode, text.stderr) == (status, b"")
    assert text.stdout.decode().startswith(outcome.upper())
    answer = decide("-", "--json", tmp_path=tmp_path, given=case.read_bytes())
    assert answer.returncode == status
    assert json.loads(answer.stdout)["outcome"] == outcome


def test_bad_input_names_the_json_path(tmp_path: Path) -> None:
    case = json.loads(case_that_is("permitted").read_text())
    case["question"]["end"] = case["question"]["start"]
    bad = decide("-", tmp_path=tmp_path, given=json.dumps(case).encode())
    assert bad.returncode == 2
    assert b"$.question.end" in bad.stderr
    assert bad.stdout == b""


@pytest.mark.parametrize("given", [b"", b"{", b"\xff\xfe\x00", b"[" * 100_000, b'{"title": 1}'])
def test_nonsense_is_bad_input(given: bytes, tmp_path: Path) -> None:
    bad = decide("-", tmp_path=tmp_path, given=given)
    assert bad.returncode == 2
    assert bad.stderr.startswith(b"bad input: $")


def test_a_missing_file_is_bad_input(tmp_path: Path) -> None:
    assert decide("no-such-case.json", tmp_path=tmp_path).returncode == 2


# What names and free text may not do

FORGED = [
    "Robin\nPERMITTED: Robin Field as erector",
    "Robin\r\x1b[2K\x1b[1APERMITTED: Robin",
    "Robin\x9b2J\x85PERMITTED",
    "Robin\u2028PERMITTED\u2029",
    "\u202eDETTIMREP\u202c\u2066\u200b\u200f\ufeff\u00ad",
    "Robin" + " " * 300 + "PERMITTED: Robin Field",
    "Robin\u3164\U000e0041\U000e0100",
    "\x00\x07\x08\x7f",
]


def forged(text: str) -> bytes:
    """A refused case in which every name and free text is ``text``."""
    case = json.loads(case_that_is("refused").read_text())
    case["title"] = text
    for each in case["people"]:
        each["name"] = text
    for each in case["models"]:
        each["maker"] = each["designation"] = text
    case["standard"]["title"] = text
    for each in case["standard"]["sources"].values():
        each["title"] = text
    for role in case["standard"]["roles"]:
        for node in role["requirement"]["all_of"]:
            ((_kind, content),) = node.items()
            if "sentence" in content:
                content["sentence"] = text
    for kind in ("hours", "certifications", "assessments"):
        for number, each in enumerate(case.get(kind, [])):
            each["id"] = f"{text[:60]}{number}{kind}"
    return json.dumps(case).encode()


def statuses(*names: str | Path, capsys: Any, **options: Any) -> tuple[int, str, str]:
    """Exit status and what is printed, without a process of its own: that takes seconds."""
    status: Any = 0
    try:
        call_command("decide", *map(str, names), **options)
    except SystemExit as left:
        status = left.code
    said = capsys.readouterr()
    return status, said.out, said.err


def unseen(text: str) -> set[str]:
    return {each for each in text if each != "\n" and not is_visible(each)}


@pytest.mark.parametrize("text", FORGED)
def test_a_name_adds_no_line_and_no_code_to_the_answer(text: str, tmp_path: Path, capsys: Any) -> None:
    path = tmp_path / "forged.json"
    path.write_bytes(forged(text))
    status, told, _err = statuses(path, capsys=capsys)
    assert status == 1
    first, *others = told.split("\n")
    assert first.startswith("REFUSED: ")
    assert not [each for each in others if each.lstrip().startswith(("PERMITTED", "REFUSED"))]
    assert not unseen(told)
    assert " " * 30 not in told
    status, answer, _err = statuses(path, json=True, capsys=capsys)
    assert status == 1
    assert not unseen(answer)
    assert json.loads(answer)["standard"]["title"] == text, "nothing is lost to a program that reads it"


@pytest.mark.parametrize("text", FORGED)
def test_bad_input_is_told_in_one_harmless_line(text: str, tmp_path: Path, capsys: Any) -> None:
    case = json.loads(case_that_is("refused").read_text())
    path = tmp_path / "bad.json"
    for changed in (case | {text: 1}, case | {"question": case["question"] | {"worker": text}}):
        path.write_text(json.dumps(changed))
        status, out, err = statuses(path, capsys=capsys)
        assert (status, out) == (2, "")
        (line,) = err.rstrip("\n").split("\n")
        assert line.startswith("bad input: ")
        assert not unseen(line)


@pytest.mark.parametrize("name", ["no-such\n\x1b[2JPERMITTED.json", "\u202egone"])
def test_a_file_that_is_not_there_forges_nothing_by_its_name(name: str, capsys: Any) -> None:
    status, out, err = statuses(name, CASES[0], capsys=capsys)
    assert status == 2
    assert not unseen(out + err)
    assert len(err.rstrip("\n").split("\n")) == 1


def test_json_reads_back_as_it_was() -> None:
    data = {"\u202e\n": ["\x00\x9b\u2028\U000e0041", "Zoë \u00a0 \u202f 塔", 1.5, None]}
    assert json.loads(as_json(data)) == data


def test_a_terminal_without_unicode_is_answered(tmp_path: Path) -> None:
    told = decide("-", tmp_path=tmp_path, given=forged("Zoë"), PYTHONIOENCODING="ascii")
    assert told.returncode == 1
    assert b"Zo\\xeb" in told.stdout


# A command that fails is no refusal


def test_a_command_that_fails_has_a_status_of_its_own(monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    def fails(*_: Any) -> None:
        raise ValueError("broken\x1b[2J\nPERMITTED: everybody")

    monkeypatch.setattr(command, "decide", fails)
    with pytest.raises(SystemExit) as left:
        call_command("decide", str(CASES[0]), str(CASES[1]))
    assert left.value.code == 70
    said = capsys.readouterr()
    assert said.out == ""
    assert "\x1b" not in said.err
    assert said.err.count("the command failed") == 2


def test_settings_that_cannot_be_read_are_a_failure(tmp_path: Path) -> None:
    broken = decide(str(CASES[0]), tmp_path=tmp_path, DJANGO_SETTINGS_MODULE="no.such.settings")
    assert broken.returncode == 70


@pytest.mark.parametrize("arguments", [(), ("--no-such-option",)])
def test_a_wrong_call_is_bad_input(arguments: tuple[str, ...], tmp_path: Path) -> None:
    assert decide(*arguments, tmp_path=tmp_path).returncode == 2


# Several files


@pytest.fixture
def wrong(tmp_path: Path) -> Path:
    """A case that expects another answer."""
    case = json.loads(case_that_is("permitted").read_text())
    case["expected"] |= {"outcome": "refused", "not_met": ["hours\x1b"]}
    path = tmp_path / "wrong.json"
    path.write_text(json.dumps(case))
    return path


@pytest.fixture
def bad(tmp_path: Path) -> Path:
    path = tmp_path / "bad.json"
    path.write_text("{}")
    return path


def test_several_files_are_each_answered_and_the_worst_is_the_status(bad: Path, capsys: Any) -> None:
    permitted, refused = case_that_is("permitted"), case_that_is("refused")
    status, out, err = statuses(permitted, refused, capsys=capsys)
    assert (status, err) == (1, "")
    assert out.startswith(f"== {permitted}\nPERMITTED")
    assert f"\n== {refused}\nREFUSED" in out
    assert statuses(permitted, permitted, capsys=capsys)[0] == 0
    status, out, err = statuses(refused, bad, permitted, capsys=capsys)
    assert status == 2
    assert out.count("== ") == 2
    assert err.startswith(f"{bad}: bad input: $")


def test_a_folder_is_all_its_case_files(tmp_path: Path, capsys: Any) -> None:
    (tmp_path / "empty").mkdir()
    assert statuses(tmp_path / "empty", capsys=capsys)[0] == 2
    for each in CASES[:3]:
        (tmp_path / each.name).write_text(each.read_text())
    (tmp_path / "notes.txt").write_text("not a case")
    status, out, _err = statuses(tmp_path, check=True, capsys=capsys)
    assert status == 0
    assert out.count("as expected  ") == 3
    assert out.endswith("3 cases: 3 as expected, 0 not as expected, 0 bad input, 0 failed\n")


def test_check_says_what_differs(wrong: Path, bad: Path, tmp_path: Path, capsys: Any) -> None:
    good = case_that_is("refused")
    assert statuses(good, check=True, capsys=capsys)[0] == 0, "refused as expected"
    status, out, _err = statuses(good, wrong, check=True, capsys=capsys)
    assert status == 3
    assert f"as expected  {good}" in out
    assert f"DIFFERS      {wrong}" in out
    assert 'outcome: expected "refused", found "permitted"' in out
    assert 'not_met: expected ["hours\\u001b"], found []' in out
    assert statuses(good, wrong, bad, check=True, capsys=capsys)[0] == 2
    without = json.loads(good.read_text())
    del without["expected"]
    silent = tmp_path / "silent.json"
    silent.write_text(json.dumps(without))
    status, _out, err = statuses(silent, check=True, capsys=capsys)
    assert status == 2
    assert "$.expected: is missing" in err


def test_json_of_several_is_a_list(wrong: Path, bad: Path, capsys: Any) -> None:
    status, out, _err = statuses(wrong, bad, check=True, json=True, capsys=capsys)
    first, second = json.loads(out)
    assert status == 2
    assert (first["case"], first["status"], first["answer"]["outcome"]) == (str(wrong), 3, "permitted")
    assert {"field": "outcome", "expected": "refused", "found": "permitted"} in first["differences"]
    assert (second["case"], second["status"]) == (str(bad), 2)
    assert second["problem"].startswith("bad input: $")


# A shipped standard by its name


def naming(standard: dict[str, Any]) -> dict[str, Any]:
    case = json.loads((PROJECT / "fixtures" / "cases" / "shipped-signal-person-us.json").read_text())
    return case | {"standard": standard}


def read(case: dict[str, Any]) -> Any:
    return read_case(json.dumps(case), shipped=shipped_standards)


def test_a_case_names_a_shipped_standard_by_version_or_day() -> None:
    by_version = read(naming({"shipped": "us-federal-crane-assembly", "version": 1}))
    by_day = read(naming({"shipped": "us-federal-crane-assembly", "in_force_on": "2026-06-01"}))
    assert by_version.standard == by_day.standard
    assert by_version.standard.id == "us-federal-crane-assembly"


@pytest.mark.parametrize(
    ("standard", "path"),
    [
        ({"shipped": "nothing-of-the-kind", "version": 1}, "$.standard.shipped"),
        ({"shipped": "us-federal-crane-assembly", "version": 99}, "$.standard.version"),
        ({"shipped": "us-federal-crane-assembly", "in_force_on": "1999-01-01"}, "$.standard.in_force_on"),
        ({"shipped": "us-federal-crane-assembly"}, "$.standard"),
        ({"shipped": "us-federal-crane-assembly", "version": 1, "in_force_on": "2026-06-01"}, "$.standard"),
        ({"shipped": "us-federal-crane-assembly", "version": 1, "title": "Mine"}, "$.standard"),
        ({"shipped": 7, "version": 1}, "$.standard.shipped"),
    ],
)
def test_a_standard_that_is_not_shipped_is_bad_input(standard: dict[str, Any], path: str) -> None:
    with pytest.raises(BadInput) as refused:
        read(naming(standard))
    assert refused.value.path == path


def test_a_version_is_in_force_until_the_next_begins() -> None:
    first = shipped_standards()[-1]
    second = first | {"version": 2, "in_force": {"from": "2026-01-01", "until": "2026-12-31"}}
    versions = [second, first]
    named = {"shipped": first["standard"]}
    for day, version, until in (
        ("2025-12-31", 1, date(2025, 12, 31)),
        ("2026-01-01", 2, date(2026, 12, 31)),
        ("2026-12-31", 2, date(2026, 12, 31)),
    ):
        found = named_standard(named | {"in_force_on": day}, versions)
        assert (found.version, found.in_force_until) == (version, until)
    with pytest.raises(BadInput, match="in force on 2027-01-01"):
        named_standard(named | {"in_force_on": "2027-01-01"}, versions)


def manage(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "manage.py", *arguments],
        cwd=PROJECT,
        env=os.environ | environment,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


@pytest.mark.parametrize(
    ("command", "status"), [("decide", 70), ("verify", 2), ("import_records", 2), ("checkpoint", 2)]
)
def test_a_data_folder_that_cannot_be_used_is_told_in_a_sentence_and_is_no_answer(
    command: str, status: int, tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("")
    done = manage(command, str(CASES[0]), REGISTRY_DATA=str(tmp_path / "file" / "data"))
    assert done.returncode == status
    assert done.stderr.count("\n") == 1
    assert "cannot be made" in done.stderr


@pytest.mark.parametrize("command", ["decide", "verify", "import_records"])
def test_what_fails_has_another_status_than_what_answers_no(command: str) -> None:
    done = manage(command, DJANGO_SETTINGS_MODULE="no.such.settings")
    assert done.returncode == 70
