"""``manage.py decide CASE.json``: no database, exit status, JSON path of what is wrong."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

PROJECT = Path(__file__).parents[2]
CASES = sorted((PROJECT / "fixtures" / "cases").glob("*.json"))


def decide(*arguments: str, tmp_path: Path, given: bytes | None = None) -> subprocess.CompletedProcess[bytes]:
    # An unreachable database shows that none is asked.
    environment = os.environ | {"DATABASE_URL": "postgres://nobody@127.0.0.1:1/none", "REGISTRY_DATA": str(tmp_path)}
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
