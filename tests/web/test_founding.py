"""Every founding appointment is on one page for the inspector."""

from __future__ import annotations

from collections.abc import Callable

from django.test import Client

from registry.evidence import services as evidence
from registry.evidence.models import Appointment
from registry.people.models import Worker
from tests.world import World


def test_an_inspector_sees_every_founding_appointment_for_ever(world: World, inspector: Client) -> None:
    shown = inspector.get("/founding/").text
    assert str(world.assessor) in shown
    assert world.scan.sha256 in shown
    assert "corrected or withdrawn since" not in shown
    evidence.withdraw(Appointment.objects.get(kind="founding"), recorded_at=world.now, recorded_by=None)
    shown = inspector.get("/founding/").text
    assert shown.count(world.scan.sha256) == 1
    assert "corrected or withdrawn since" in shown


def test_an_employer_sees_its_own(world: World, dispatcher: Client, another_employer: Client) -> None:
    assert str(world.assessor) in dispatcher.get("/founding/").text
    assert str(world.assessor) not in another_employer.get("/founding/").text


def test_a_worker_sees_none(world: World, as_worker: Callable[[Worker], Client]) -> None:
    assert str(world.assessor) not in as_worker(world.worker("Noor", "Haddad")).get("/founding/").text
