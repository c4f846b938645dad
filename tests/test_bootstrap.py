"""What is installed for which command, and that running the registry brings no test tools along."""

from __future__ import annotations

import re
import sys
import tomllib
from pathlib import Path

import pytest

from registry import bootstrap

PROJECT = Path(__file__).resolve().parent.parent
PINNED = re.compile(r"^([A-Za-z0-9._-]+)(?:\[[^]]*\])?==(\S+)", flags=re.MULTILINE)
NAMED = tomllib.loads((PROJECT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def pinned(path: Path) -> dict[str, str]:
    return dict(PINNED.findall(path.read_text(encoding="utf-8")))


def names(requirements: list[str]) -> set[str]:
    return {re.split(r"[\[=<>;]", each)[0].lower() for each in requirements}


def test_running_brings_no_test_tools_along() -> None:
    tools = names(NAMED["optional-dependencies"]["dev"]) - names(NAMED["dependencies"])
    assert {"pytest", "playwright", "mypy"} <= tools
    assert not tools & pinned(bootstrap.LOCK_FILE).keys()
    assert tools <= {each.lower() for each in pinned(bootstrap.LOCK_FILE_FOR_TESTS)}


def test_all_that_running_needs_is_locked() -> None:
    assert names(NAMED["dependencies"]) <= {each.lower() for each in pinned(bootstrap.LOCK_FILE)}


def test_tests_run_on_what_is_served() -> None:
    assert pinned(bootstrap.LOCK_FILE).items() <= pinned(bootstrap.LOCK_FILE_FOR_TESTS).items()


@pytest.mark.parametrize("path", [bootstrap.LOCK_FILE, bootstrap.LOCK_FILE_FOR_TESTS], ids=lambda each: each.name)
def test_a_lock_file_names_no_host_and_a_digest_for_each_package(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert "://" not in text
    assert "--index" not in text
    packages = re.split(r"^(?=[A-Za-z0-9])", text, flags=re.MULTILINE)[1:]
    assert [each.splitlines()[0] for each in packages if "--hash=sha256:" not in each] == []


@pytest.fixture
def installed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The lock files that were installed, into an environment that begins empty."""
    done: list[str] = []
    monkeypatch.setattr(sys, "prefix", str(tmp_path))
    monkeypatch.setattr(bootstrap, "_run", lambda command: done.append(Path(command[-1]).name))
    monkeypatch.setattr(bootstrap, "_say", lambda sentence: None)
    return done


@pytest.mark.parametrize("command", ["demo", "prepare", "decide", "help"])
def test_a_command_installs_what_running_needs(
    installed: list[str], monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    monkeypatch.setattr(bootstrap, "_install_document_libraries", lambda: None)
    # Set for good by `demo`, which serves plain http.
    monkeypatch.setenv("REGISTRY_PLAIN_HTTP_ON_LOOPBACK", "1")
    bootstrap.prepare([command])
    assert installed == ["requirements.lock"]
    bootstrap.prepare([command])
    assert installed == ["requirements.lock"], "once"


@pytest.mark.parametrize("command", ["test", "catalogue"])
def test_a_developers_command_installs_the_tools_too(
    installed: list[str], monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    monkeypatch.setattr(bootstrap, "_install_document_libraries", lambda: None)
    with pytest.raises(SystemExit) if command == "test" else monkeypatch.context():
        bootstrap.prepare([command, "--help"])
    assert installed == ["requirements-dev.lock"]


def test_an_environment_with_the_tools_is_left_as_it_is(installed: list[str]) -> None:
    bootstrap._install_requirements(for_developers=True)
    bootstrap._install_requirements(for_developers=False)
    assert installed == ["requirements-dev.lock"]


def test_tools_are_added_to_an_environment_without(installed: list[str]) -> None:
    bootstrap._install_requirements(for_developers=False)
    bootstrap._install_requirements(for_developers=True)
    bootstrap._install_requirements(for_developers=False)
    assert installed == ["requirements.lock", "requirements-dev.lock"]


@pytest.mark.parametrize(
    ("command", "needed"), [("prepare", True), ("serve", True), ("demo", True), ("decide", False), ("verify", False)]
)
def test_what_begins_or_serves_a_register_has_what_printing_needs(
    installed: list[str], monkeypatch: pytest.MonkeyPatch, command: str, needed: bool
) -> None:
    asked: list[None] = []
    monkeypatch.setattr(bootstrap, "_install_document_libraries", lambda: asked.append(None))
    monkeypatch.setattr(bootstrap, "_inside_virtual_environment", lambda: True)
    monkeypatch.setenv("REGISTRY_PLAIN_HTTP_ON_LOOPBACK", "1")
    bootstrap.prepare([command])
    assert bool(asked) is needed
