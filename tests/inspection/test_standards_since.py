"""Versions of the role standard that the register learned of after the instant asked about."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.db import connections

from registry.crews.queries import Asking, asking_for_slot, slot_with_job
from registry.inspection.as_known import Comparison, compare
from registry.standards.files import read_standard_file
from registry.standards.services import load_standard_file
from tests.world import STANDARD, World

# The owner stores versions over a connection of its own, so they are committed.
pytestmark = pytest.mark.django_db(databases=["default", "owner"], transaction=True)

HOUR = timedelta(hours=1)
KEY = "of-this-module"
Changed = Callable[..., Comparison]
CONTENT = read_standard_file(settings.STANDARDS / f"{STANDARD}.yaml")


@pytest.fixture
def world(committed_database: None) -> Iterator[World]:
    """A world whose employer works by a standard of this module alone, removed again afterwards."""
    yield World(datetime.now(UTC).replace(second=0, microsecond=0))
    with connections["owner"].cursor() as cursor:
        cursor.execute("ALTER TABLE standards_standardversion DISABLE TRIGGER USER")
        cursor.execute("DELETE FROM standards_standardversion WHERE key = %s", [KEY])
        cursor.execute("ALTER TABLE standards_standardversion ENABLE TRIGGER USER")


@pytest.fixture
def asking(world: World) -> Asking:
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector)
    slot = slot_with_job(world.job(["erector"], starts_in=-3).slots.get().pk)
    asking = asking_for_slot(slot, worker=erector.pk, start=slot.job.start, end=slot.job.end)
    return replace(asking, standard_key=KEY)


def load(folder: Path, *, recorded_at: datetime, **changes: Any) -> None:
    path = folder / "file.yaml"
    path.write_text(json.dumps(CONTENT | {"standard": KEY} | changes), encoding="utf-8")
    load_standard_file(path, recorded_at=recorded_at)


@pytest.fixture
def known_version(tmp_path: Path) -> None:
    """The first version, which the register knew long before."""
    load(tmp_path, recorded_at=datetime(2020, 1, 1, tzinfo=UTC))


@pytest.fixture
def changed(world: World, asking: Asking, known_version: None, tmp_path: Path) -> Changed:
    """Both answers, once the register has learned of a second version that asks for more."""

    def change(**in_force: str) -> Comparison:
        load(tmp_path, recorded_at=world.now, **stricter(), in_force=in_force)
        return compare(asking, known_at=world.now - HOUR, now=world.now + HOUR)

    return change


def stricter() -> dict[str, Any]:
    raised = CONTENT["settings"]["erector_on_model"] | {"minutes": 90_000}
    return {"version": CONTENT["version"] + 1, "settings": CONTENT["settings"] | {"erector_on_model": raised}}


def day_of(asking: Asking, days: int) -> str:
    return (asking.start + timedelta(days=days)).date().isoformat()


def test_a_version_recorded_since_that_governs_the_day(asking: Asking, changed: Changed) -> None:
    found = changed(**{"from": day_of(asking, -10)})
    assert (found.then.outcome, found.now.outcome) == ("permitted", "refused")
    assert [(each.kind, each.why) for each in found.differences] == [("standard", "standard_since")]
    assert "model_hours" in {each.key for each in found.differences[0].effects}


def test_a_version_recorded_since_that_ends_the_old_one_within_the_work(asking: Asking, changed: Changed) -> None:
    found = changed(**{"from": day_of(asking, 2)})
    assert (found.then.outcome, found.now.outcome) == ("permitted", "refused")
    assert [each.kind for each in found.differences] == ["standard"]


def test_a_version_recorded_since_that_has_run_out_leaves_no_answer_now(asking: Asking, changed: Changed) -> None:
    found = changed(**{"from": day_of(asking, -10), "until": day_of(asking, -5)})
    assert (found.then.outcome, found.now.outcome) == ("permitted", "none")
    assert "in force" in found.now.sentence
    assert [each.kind for each in found.differences] == ["standard"]


def test_no_version_was_known(world: World, asking: Asking, tmp_path: Path) -> None:
    load(tmp_path, recorded_at=world.now)
    found = compare(asking, known_at=world.now - HOUR, now=world.now + HOUR)
    assert found.then.outcome == "none"
    assert KEY in found.then.sentence
    assert found.now.outcome == "permitted"
    assert [each.kind for each in found.differences] == ["standard"]
