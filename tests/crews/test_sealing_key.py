"""The secret that seals decisions is changed: the guide's steps, and what they close."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime

import pytest
from django.db import IntegrityError, connections

from registry.crews import services as crews
from registry.crews.models import Decision, Slot
from registry.crews.queries import asking_for_slot, slot_with_job
from registry.crews.sealing import place_key_in_database, sealing_key
from registry.database.errors import constraint_of
from registry.people.models import Worker
from tests.world import World

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])


@contextmanager
def secret(monkeypatch: pytest.MonkeyPatch, value: str | None) -> Iterator[None]:
    """A process with another secret in its environment."""
    with monkeypatch.context() as environment:
        if value is not None:
            environment.setenv("DECISION_SEALING_SECRET", value)
        sealing_key.cache_clear()
        yield
    sealing_key.cache_clear()


@pytest.fixture(autouse=True)
def _keys_are_put_back() -> Iterator[None]:
    yield
    sealing_key.cache_clear()
    with connections["owner"].cursor() as cursor:
        cursor.execute("DELETE FROM crews_sealing_key")
    place_key_in_database(using="owner")


def answered(slot: Slot, worker: Worker, now: datetime) -> Decision:
    asking = asking_for_slot(slot, worker=worker.pk, start=slot.job.start, end=slot.job.end)
    return crews.check(asking=asking, decided_at=now, decided_by=None)


def delete_keys_but_this() -> None:
    with connections["owner"].cursor() as cursor:
        cursor.execute("DELETE FROM crews_sealing_key")
    place_key_in_database(using="owner")


def test_old_and_new_processes_go_on_side_by_side_until_the_old_key_is_deleted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    world = World(datetime.now(UTC).replace(second=0, microsecond=0))
    slot = slot_with_job(world.job(["erector"]).slots.get().pk)
    person = world.worker("Mira", "Sandoval")
    with secret(monkeypatch, "the next secret"):
        with pytest.raises(IntegrityError) as refused:
            answered(slot, person, world.now)
        assert constraint_of(refused.value) == "decision_carries_the_engines_seal", "not placed yet"
        place_key_in_database(using="owner")
        answered(slot, person, world.now)
    answered(slot, person, world.now)
    with secret(monkeypatch, "the next secret"):
        delete_keys_but_this()
        answered(slot, person, world.now)
    with pytest.raises(IntegrityError) as refused:
        answered(slot, person, world.now)
    assert constraint_of(refused.value) == "decision_carries_the_engines_seal"
