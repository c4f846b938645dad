"""Migration operations that run a package's own ``.sql`` file."""

from __future__ import annotations

from pathlib import Path

from django.db.migrations import RunSQL


def run_sql_file(migration: str, name: str) -> RunSQL:
    """Run ``sql/<name>`` of the package whose migration's ``__file__`` is given; forward only."""
    file = Path(migration).resolve().parent.parent / "sql" / name
    return RunSQL(file.read_text(encoding="utf-8"))
