"""Topics, schemes and duties: chosen from what the standards ask for, and compared without regard to spelling."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from html import unescape
from typing import Any

import pytest
from django.conf import settings
from django.test import Client
from django.utils import translation

from registry.crews.queries import answer, asking_for_slot, slot_with_job
from registry.evidence import services
from registry.evidence.models import Appointment, Certification, Instruction
from registry.language.words import in_words
from registry.people.models import Worker
from registry.standards.asked_for import as_asked_for, asked_for
from tests.world import World


@pytest.fixture
def mira(world: World) -> Worker:
    return world.worker("Mira", "Sandoval")


def add(client: Client, worker: Worker, what: str, **given: Any) -> Any:
    return client.post(f"/records/people/{worker.pk}/add/{what}/", given)


def instruct(client: Client, worker: Worker, world: World, **given: Any) -> Any:
    usual = {"provider": "employer", "completed_at": "2024-05-02T16:00", "clock": world.site.time_zone}
    return add(client, worker, "instruction", **{**usual, **given})


@pytest.mark.parametrize(
    "typed",
    ["crew tasks and hazards", "Crew Tasks and Hazards", "CREW_TASKS_AND_HAZARDS", " crew-tasks  and hazards. "],
)
def test_a_topic_typed_in_the_remedys_own_words_is_the_standards(
    world: World, dispatcher: Client, mira: Worker, typed: str
) -> None:
    assert instruct(dispatcher, mira, world, **{"topic-other": typed}).status_code == 302
    assert Instruction.objects.get(worker=mira).topic == "crew_tasks_and_hazards"


def test_a_topic_typed_in_french_is_the_standards(world: World, dispatcher: Client, mira: Worker) -> None:
    with translation.override("fr"):
        typed = in_words("crew_tasks_and_hazards")
    assert typed != "crew tasks and hazards"
    dispatcher.cookies[settings.LANGUAGE_COOKIE_NAME] = "fr"
    assert instruct(dispatcher, mira, world, **{"topic-other": typed.upper()}).status_code == 302
    assert Instruction.objects.get(worker=mira).topic == "crew_tasks_and_hazards"


def test_a_topic_that_no_standard_asks_for_keeps_its_words(world: World, dispatcher: Client, mira: Worker) -> None:
    instruct(dispatcher, mira, world, **{"topic-other": "Rescue  from height"})
    assert Instruction.objects.get(worker=mira).topic == "Rescue from height"


def test_choosing_one_and_writing_another_is_asked_about(world: World, dispatcher: Client, mira: Worker) -> None:
    given = {"topic": "crew_tasks_and_hazards", "topic-other": "Rescue from height"}
    answer = instruct(dispatcher, mira, world, **given)
    assert answer.status_code == 422
    assert "Choose from the list or write another, not both." in answer.text
    assert 'value="Rescue from height"' in answer.text
    assert not Instruction.objects.filter(worker=mira).exists()


def test_nothing_is_chosen_beforehand_and_each_choice_says_who_needs_it(dispatcher: Client, mira: Worker) -> None:
    page = dispatcher.get(f"/records/people/{mira.pk}/add/instruction/").text
    topics = unescape(re.search(r'<select name="topic".*?</select>', page, re.S)[0])  # type: ignore[index]
    assert "selected" not in topics
    assert re.search(r'value="crew_tasks_and_hazards">Crew tasks and hazards \(.*erector.*\)<', topics)


def test_a_certificates_scheme_counts_as_printed(world: World, dispatcher: Client, mira: Worker) -> None:
    paper = {"scheme-other": "TOWER CRANE ERECTION", "number": "TE-5", "issuer": "Norrland Board"}
    assert add(dispatcher, mira, "certificate", issued="2024-03-01", **paper).status_code == 302
    assert Certification.objects.get(worker=mira).scheme == "tower crane erection"


def test_a_duty_is_one_of_the_standards_or_a_role(world: World, dispatcher: Client, mira: Worker) -> None:
    act = {"kind": "duty", "duty-other": "Overseeing Engineer", "start": "2024-05-03T07:00"}
    assert add(dispatcher, mira, "appointment", clock=world.site.time_zone, **act).status_code == 302
    assert Appointment.objects.get(worker=mira).duty == "overseeing_engineer"


def test_what_was_stored_in_other_words_counts(world: World, mira: Worker) -> None:
    """As an import or an older register left it: compared by the engine, whatever the page would have made of it."""
    job = world.job(["erector"])
    slot = slot_with_job(job.slots.get().pk)

    def instructed() -> bool:
        asking = asking_for_slot(slot, worker=mira.pk, start=job.start, end=job.end)
        return next(each.met for each in answer(asking).answer.requirements if each.key == "crew_instruction")

    before = instructed()
    services.record_instruction(
        worker=mira,
        topic="Crew tasks AND hazards",
        provider="employer",
        completed_at=world.now - timedelta(days=30),
        recorded_at=world.now,
        recorded_by=None,
    )
    assert (before, instructed()) == (False, True)


def test_every_name_that_a_standard_in_force_asks_for_is_on_the_list(world: World) -> None:
    today = datetime.now(UTC).date()
    for kind, some in (
        ("topics", "assembly_procedures"),
        ("schemes", "professional engineer licence"),
        ("duties", "erection_supervisor"),
    ):
        names = [each.name for each in asked_for(kind, on=today)]
        assert some in names
        assert len(names) == len(set(names))
        assert all(each.roles for each in asked_for(kind, on=today))
        assert asked_for(kind, on=today.replace(year=1950)) == []


def test_a_name_that_is_not_meant_is_not_bent() -> None:
    assert as_asked_for("crew tasks", ["crew_tasks_and_hazards"]) == "crew tasks"
