"""What somebody who keeps the registry running asks it."""

from __future__ import annotations

from unittest.mock import patch

import pytest
from django.db import OperationalError, connection
from django.db.migrations.recorder import MigrationRecorder
from django.test import Client
from django.test.utils import CaptureQueriesContext

PATHS = ("/health/live", "/health/ready")


@pytest.mark.parametrize("path", PATHS)
def test_it_answers_by_any_name_without_a_session_over_http_too(
    path: str, client: Client, db: None, settings: object
) -> None:
    settings.SECURE_SSL_REDIRECT = True  # type: ignore[attr-defined]
    answer = Client().get(path, headers={"Host": "10.0.0.7:8000"})
    assert (answer.status_code, answer.json()) == (200, {"status": path.rpartition("/")[2]})
    assert answer.cookies == {}
    assert "no-store" in answer.headers["Cache-Control"]
    assert Client().head(path).status_code == 200
    assert Client().get("/sign-in/").status_code == 301, "everything else is led to https"


def test_being_alive_asks_no_database(db: None) -> None:
    with CaptureQueriesContext(connection) as captured:
        Client().get("/health/live")
    assert len(captured) == 0


def test_readiness_costs_little(db: None) -> None:
    assert Client().get("/health/ready").status_code == 200
    with CaptureQueriesContext(connection) as captured:
        Client().get("/health/ready")
    assert len(captured) <= 2


def test_a_database_that_does_not_answer_is_not_ready_and_why_is_not_told(db: None) -> None:
    failing = OperationalError("password authentication failed for user registry_application at db.example")
    with patch.object(MigrationRecorder, "applied_migrations", side_effect=failing):
        answer = Client().get("/health/ready")
        assert Client().get("/health/live").status_code == 200
    assert (answer.status_code, answer.json()) == (503, {"status": "not ready"})


def test_a_database_that_was_not_brought_up_to_date_is_not_ready(db: None) -> None:
    applied = MigrationRecorder(connection).applied_migrations()
    assert Client().get("/health/ready").status_code == 200
    behind = {key: each for key, each in applied.items() if key != max(applied)}
    with patch.object(MigrationRecorder, "applied_migrations", return_value=behind):
        assert Client().get("/health/ready").status_code == 503


@pytest.mark.parametrize("path", [*PATHS, "/health/", "/health/live/", "/health/ready/x", "/health"])
def test_nothing_else_is_there(path: str, db: None) -> None:
    if path in PATHS:
        assert Client().post(path).status_code == 404
    else:
        assert Client().get(path).status_code == 404
