"""A data folder for a test's own signing keys and mirror; the database stays the one of all tests."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import pytest

from registry.database import data_folder


def keep_log_in(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keys and mirror lie in ``folder`` until the test is over."""

    def kept(name: str, make: Callable[[], bytes]) -> Path:
        data_folder.write_once(folder / name, make())
        return folder / name

    stands_in = SimpleNamespace(
        locate=lambda: folder,
        kept=kept,
        replace_file=data_folder.replace_file,
        secret=lambda name: f"invented {name}",
    )
    monkeypatch.setattr("registry.ledger.keys.data_folder", stands_in)
    monkeypatch.setattr("registry.ledger.mirror.data_folder", stands_in)
    for each in ("LOG_ORIGIN", "LOG_SIGNING_KEY", "LOG_SIGNING_KEY_BEFORE"):
        monkeypatch.delenv(each, raising=False)
