"""The same checks that a reviewer would run by hand."""

import subprocess
import sys
from pathlib import Path

import pytest

PROJECT = Path(__file__).resolve().parent.parent
IMPORT_RULES = "from importlinter.cli import lint_imports_command; lint_imports_command()"


@pytest.mark.parametrize(
    "arguments",
    [
        pytest.param(["-m", "ruff", "check", "."], id="lint"),
        pytest.param(["-m", "ruff", "format", "--check", "."], id="format"),
        pytest.param(["-m", "mypy"], id="types"),
        pytest.param(["-c", IMPORT_RULES], id="import rules"),
    ],
)
def test_source_passes(arguments: list[str]) -> None:
    done = subprocess.run([sys.executable, *arguments], cwd=PROJECT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
