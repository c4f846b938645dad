"""Migration operations that run a package's own ``.sql`` file."""

from __future__ import annotations

from pathlib import Path

from django.db.migrations import RunSQL


def run_sql_file(migration: str, name: str, *, undone_by: str | None = None) -> RunSQL:
    """Run ``sql/<name>`` of the package whose migration's ``__file__`` is given; back only by ``sql/<undone_by>``."""
    folder = Path(migration).resolve().parent.parent / "sql"
    undo = None if undone_by is None else (folder / undone_by).read_text(encoding="utf-8")
    return RunSQL((folder / name).read_text(encoding="utf-8"), undo)
