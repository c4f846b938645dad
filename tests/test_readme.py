"""What the pages for readers say is so."""

import json
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

PROJECT = Path(__file__).resolve().parent.parent
README = (PROJECT / "README.md").read_text(encoding="utf-8")
PAGES = [PROJECT / "README.md", PROJECT / "DEVELOPERS.md", *sorted(PROJECT.glob("fixtures/*/README.md"))]

SHELL_BLOCKS = re.findall(r"^ *```sh\n(.*?)^ *```$", README, flags=re.MULTILINE | re.DOTALL)
COMMANDS = [shlex.split(line, comments=True) for block in SHELL_BLOCKS for line in block.splitlines()]
(EXIT_STATUS,) = re.findall(r"Exit status (\d) is permitted, (\d) refused", README)
LINKS = [
    pytest.param(page, target, id=f"{page.relative_to(PROJECT)} {target}")
    for page in PAGES
    for target in re.findall(r"\]\(([^)#\s]+)[^)]*\)", page.read_text(encoding="utf-8"))
    if "://" not in target
]
VARIABLES = re.findall(r"`([A-Z][A-Z_]+)`", "".join(re.findall(r"^\| (`.*?) \|", README, flags=re.MULTILINE)))


def commands_named(name: str) -> list[list[str]]:
    return [each for each in COMMANDS if each[:3] == ["python3", "manage.py", name]]


def test_the_pipeline_runs_the_test_command_and_no_other() -> None:
    (shown,) = commands_named("test")
    (line,) = re.findall(r"^exec (.*)$", (PROJECT / ".ci" / "run").read_text(encoding="utf-8"), flags=re.MULTILINE)
    assert shlex.split(line) == shown


def test_every_command_shown_exists() -> None:
    listed = subprocess.run(
        [sys.executable, "manage.py", "help", "--commands"], cwd=PROJECT, capture_output=True, text=True, check=True
    )
    assert {each[2] for each in COMMANDS} <= set(listed.stdout.split())


def test_the_case_shown_is_answered_as_it_expects() -> None:
    (shown,) = commands_named("decide")
    expected = json.loads((PROJECT / shown[-1]).read_text(encoding="utf-8"))["expected"]["outcome"]
    done = subprocess.run([sys.executable, *shown[1:]], cwd=PROJECT, capture_output=True, text=True, check=False)
    status = dict(zip(("permitted", "refused"), map(int, EXIT_STATUS), strict=True))
    assert done.returncode == status[expected], done.stdout + done.stderr
    assert done.stdout.startswith(expected.upper())


@pytest.mark.parametrize(("page", "target"), LINKS)
def test_a_link_leads_to_a_file(page: Path, target: str) -> None:
    assert (page.parent / target).is_file()


@pytest.mark.parametrize("variable", VARIABLES)
def test_a_variable_in_the_table_is_read(variable: str) -> None:
    code = (each.read_text(encoding="utf-8") for each in sorted((PROJECT / "registry").rglob("*.py")))
    assert any(f'"{variable}"' in each for each in code)
