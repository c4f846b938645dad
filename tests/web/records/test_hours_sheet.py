"""The sheet for a whole crew, and the countersignatures that follow it."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from registry.crews import services as crews
from registry.evidence import countersigning
from registry.evidence.models import Countersignature, CountersignatureRequest, EntryObjection, HoursEntry
from registry.people.models import Worker
from tests.world import World

AsWorker = Callable[[Worker], Client]


def a_sheet(world: World, people: list[str], **more: Any) -> dict[str, Any]:
    """What a dispatcher types: yesterday from 07:00 until 15:30 by a clock on the site."""
    day = (world.now - timedelta(days=2)).astimezone(ZoneInfo(world.site.time_zone)).date()
    sheet: dict[str, Any] = {
        "lines": str(max(12, len(people))),
        "site": world.site.pk,
        "crane": world.crane.pk,
        "operation": "dismantling",
        "day": day.isoformat(),
        "start": "07:00",
        "end": "15:30",
        "capacity": "erector",
    }
    sheet |= {f"person_{number}": person for number, person in enumerate(people)}
    return sheet | more


@pytest.fixture
def crew(world: World) -> list[Worker]:
    return [world.worker("Mira", f"Sandoval{letter}") for letter in "abc"]


def test_a_crew_is_recorded_on_one_sheet_with_own_times_where_they_differ(
    world: World, dispatcher: Client, crew: list[Worker]
) -> None:
    sheet = a_sheet(world, [each.number for each in crew], start_1="09:00", end_2="14:00", capacity_2="trainee")
    assert dispatcher.post("/records/hours/", sheet).headers["Location"] == "/records/countersigning/"
    entries = [HoursEntry.objects.get(worker=each) for each in crew]
    minutes = [(each.end - each.start).total_seconds() // 60 for each in entries]
    assert minutes == [510, 390, 420]
    assert [each.capacity for each in entries] == ["erector", "erector", "trainee"]
    assert entries[0].start.astimezone(ZoneInfo(world.site.time_zone)).hour == 7
    assert {each.model_id for each in entries} == {world.model.pk}


def test_one_person_is_counted_as_one(world: World, dispatcher: Client, crew: list[Worker]) -> None:
    shown = dispatcher.post("/records/hours/", a_sheet(world, [crew[0].number]), follow=True).text
    assert "Recorded: the hours of one person." in shown


def test_a_line_that_is_left_out_is_not_recorded(world: World, dispatcher: Client, crew: list[Worker]) -> None:
    sheet = a_sheet(world, [each.number for each in crew], left_out_1="on")
    dispatcher.post("/records/hours/", sheet)
    assert set(HoursEntry.objects.values_list("worker", flat=True)) == {crew[0].pk, crew[2].pk}


def test_a_night_shift_ends_on_the_next_day(world: World, dispatcher: Client, crew: list[Worker]) -> None:
    dispatcher.post("/records/hours/", a_sheet(world, [crew[0].number], start="22:00", end="06:00"))
    entry = HoursEntry.objects.get()
    assert entry.end - entry.start == timedelta(hours=8)


def test_one_wrong_line_records_nothing_and_keeps_what_was_typed(
    world: World, dispatcher: Client, crew: list[Worker]
) -> None:
    dispatcher.post("/records/hours/", a_sheet(world, [crew[0].number], start="00:00", end="23:00"))
    again = dispatcher.post("/records/hours/", a_sheet(world, [crew[1].number, crew[0].number], start_1="08:15"))
    assert again.status_code == 422
    assert HoursEntry.objects.count() == 1
    assert 'value="08:15"' in again.text
    assert f'value="{crew[1].number}"' in again.text
    beside = re.search(r'id="id_person_1_error".*?</div>', again.text, re.S)
    assert beside
    assert "Hours of this person are recorded for this time already" in beside[0]
    assert re.search(r'<input[^>]*aria-describedby="[^"]*id_person_1_error', again.text)
    assert 'id="id_person_0_error"' not in again.text


def test_a_name_that_may_be_several_people_is_asked_back_beside_its_line(
    world: World, dispatcher: Client, crew: list[Worker]
) -> None:
    shown = dispatcher.post("/records/hours/", a_sheet(world, ["Sandoval", "Nobody Known"])).text
    beside = re.search(r'id="id_person_0_error".*?</div>', shown, re.S)
    assert beside
    assert all(each.number in beside[0] for each in crew)
    assert "Nobody on the books is meant by this." in shown
    assert not HoursEntry.objects.exists()


def test_the_same_person_at_the_same_time_is_refused_in_the_second_line(
    world: World, dispatcher: Client, crew: list[Worker]
) -> None:
    shown = dispatcher.post("/records/hours/", a_sheet(world, [crew[0].number, crew[0].number])).text
    assert 'id="id_person_1_error"' in shown
    assert 'id="id_person_0_error"' not in shown


def test_what_is_wrong_with_the_shift_is_said_once_beside_the_shift(
    world: World, dispatcher: Client, crew: list[Worker]
) -> None:
    tomorrow = (world.now + timedelta(days=1)).date().isoformat()
    sheet = a_sheet(world, [each.number for each in crew], day=tomorrow, end_2="14:00")
    shown = dispatcher.post("/records/hours/", sheet).text
    message = "Hours cannot be recorded before they are worked."
    (of_shift,) = re.findall(r'id="id_end_error".*?</div>', shown, re.S)
    (of_line,) = re.findall(r'id="id_end_2_error".*?</div>', shown, re.S)
    assert of_shift.count(message) == of_line.count(message) == 1
    assert 'id="id_end_0_error"' not in shown


def test_the_hours_before_and_after_recorded_ones_are_recorded(
    world: World, dispatcher: Client, crew: list[Worker]
) -> None:
    for start, end in (("09:00", "12:00"), ("07:00", "09:00"), ("12:00", "15:00"), ("11:00", "13:00")):
        dispatcher.post("/records/hours/", a_sheet(world, [crew[0].number], start=start, end=end))
    assert HoursEntry.objects.count() == 3


def test_another_employers_worker_cannot_be_named(world: World, another_employer: Client, crew: list[Worker]) -> None:
    shown = another_employer.post("/records/hours/", a_sheet(world, [crew[0].number]))
    assert shown.status_code == 422
    assert not HoursEntry.objects.exists()


def test_more_lines_come_without_script_and_without_losing_a_word(
    world: World, dispatcher: Client, crew: list[Worker]
) -> None:
    shown = dispatcher.post("/records/hours/", a_sheet(world, ["Half a na"], start_0="05:5", more="1"))
    assert shown.status_code == 200
    assert 'id="id_person_19"' in shown.text
    assert 'value="Half a na"' in shown.text
    assert 'class="error"' not in shown.text


def test_the_sheet_begins_with_the_crew_of_a_job(world: World, dispatcher: Client) -> None:
    worker = world.worker("Mira", "Sandoval")
    world.make_erector(worker)
    job = world.job(["erector"])
    assert world.assign(job.slots.get(), worker).assignment is not None
    shown = dispatcher.get(f"/records/hours/?job={job.pk}").text
    assert f'value="{worker.number} Mira Sandoval"' in shown


def test_twenty_people_cost_as_many_statements_as_five(world: World, dispatcher: Client) -> None:
    people = [world.worker("Ada", f"Weir{number:02}") for number in range(25)]
    counts = []
    for some in (people[:5], people[5:]):
        with CaptureQueriesContext(
            connection,
        ) as captured:
            dispatcher.post("/records/hours/", a_sheet(world, [str(each) for each in some], lines="40"))
        counts.append(len(captured))
    assert HoursEntry.objects.filter(worker__in=people).count() == 25
    assert counts[0] == counts[1]


# Countersigning


@pytest.fixture
def waiting(world: World, dispatcher: Client, crew: list[Worker]) -> list[HoursEntry]:
    """Hours of the crew that wait for the first of them, but for the own ones."""
    dispatcher.post("/records/hours/", a_sheet(world, [each.number for each in crew], signer=crew[0].number))
    return list(HoursEntry.objects.order_by("id"))


def test_a_sheet_waits_for_the_signer_but_not_for_their_own_hours(
    waiting: list[HoursEntry], crew: list[Worker]
) -> None:
    asked = CountersignatureRequest.objects.order_by("entry")
    assert [(each.entry_id, each.of_id) for each in asked] == [(each.pk, crew[0].pk) for each in waiting[1:]]


def test_a_signer_signs_many_at_once_as_themself(
    waiting: list[HoursEntry], crew: list[Worker], as_worker: AsWorker
) -> None:
    signer = as_worker(crew[0])
    assert "To countersign (2)" in signer.get("/own/").text
    signed = signer.post("/records/to-countersign/", {"do": "sign", "entries": [each.pk for each in waiting[1:]]})
    assert signed.status_code == 302
    signatures = Countersignature.objects.all()
    assert {each.entry_id for each in signatures} == {each.pk for each in waiting[1:]}
    assert {each.by_id for each in signatures} == {crew[0].pk}
    assert all(each.recorded_by and each.recorded_by.worker_id == crew[0].pk for each in signatures)
    assert "To countersign" not in signer.get("/").text


def test_nobody_signs_what_waits_for_somebody_else(
    waiting: list[HoursEntry], crew: list[Worker], as_worker: AsWorker, dispatcher: Client
) -> None:
    stranger = as_worker(crew[2])
    refused = stranger.post("/records/to-countersign/", {"do": "sign", "entries": [waiting[1].pk]})
    assert refused.status_code == 422
    assert dispatcher.post("/records/to-countersign/", {"do": "sign", "entries": [waiting[1].pk]}).status_code == 403
    assert not Countersignature.objects.exists()


def test_declining_needs_a_reason_and_sends_a_question_back(
    waiting: list[HoursEntry], crew: list[Worker], as_worker: AsWorker, dispatcher: Client
) -> None:
    signer = as_worker(crew[0])
    without = signer.post("/records/to-countersign/", {"do": "decline", "entries": [waiting[1].pk], "reason": ""})
    assert without.status_code == 422
    assert f'value="{waiting[1].pk}" checked' in without.text
    signer.post("/records/to-countersign/", {"do": "decline", "entries": [waiting[1].pk], "reason": "She left at noon"})
    assert [each.entry_id for each in countersigning.waiting_for(crew[0])] == [waiting[2].pk]
    assert "She left at noon" in dispatcher.get("/records/countersigning/").text
    objection = EntryObjection.objects.get()
    dispatcher.post(f"/records/countersigning/{objection.pk}/", {"reply": "The gate log says 15:30"})
    assert "The gate log says 15:30" in signer.get("/records/to-countersign/").text
    assert waiting[1].pk in {each.entry_id for each in countersigning.waiting_for(crew[0])}


def test_the_employer_sees_what_waits_for_whom_and_asks_about_the_rest(
    waiting: list[HoursEntry], crew: list[Worker], dispatcher: Client
) -> None:
    shown = dispatcher.get("/records/countersigning/").text
    assert f"{crew[0].number}</span> 2 entries" in shown
    asked = {"entries": [waiting[0].pk], "signer": crew[1].number}
    assert dispatcher.post("/records/countersigning/", asked).status_code == 302
    assert CountersignatureRequest.objects.filter(entry=waiting[0], of=crew[1]).exists()
    own = dispatcher.post("/records/countersigning/", {"entries": [waiting[1].pk], "signer": crew[1].number})
    assert own.status_code == 422


def test_another_employer_cannot_answer_an_objection(
    world: World, waiting: list[HoursEntry], crew: list[Worker], as_worker: AsWorker, another_employer: Client
) -> None:
    as_worker(crew[0]).post("/records/to-countersign/", {"do": "decline", "entries": [waiting[1].pk], "reason": "No"})
    objection = EntryObjection.objects.get()
    assert another_employer.post(f"/records/countersigning/{objection.pk}/", {"reply": "x"}).status_code == 403


# The clock is put back on the first Sunday of November and forward on the second of March (15 U.S.C. 260a).


def test_an_hour_that_the_clock_shows_twice_is_asked_about(
    world: World, dispatcher: Client, crew: list[Worker]
) -> None:
    sheet = a_sheet(world, [each.number for each in crew[:2]], day="2025-11-01", start="22:00", end="01:30")
    first = dispatcher.get("/records/hours/").text
    assert 'name="repeated"' not in first
    asked = dispatcher.post("/records/hours/", sheet).text
    beside = re.search(r'id="id_end_error".*?</div>', asked, re.S)
    assert beside
    assert beside[0].count("put back then and shows this time twice") == 1
    assert asked.count('name="repeated"') == 1
    assert not HoursEntry.objects.exists()
    assert dispatcher.post("/records/hours/", sheet | {"repeated": "second", "end_1": "00:30"}).status_code == 302
    lengths = [each.end - each.start for each in HoursEntry.objects.order_by("worker")]
    assert lengths == [timedelta(hours=4, minutes=30), timedelta(hours=2, minutes=30)]


def test_a_time_that_the_clock_skips_is_refused_beside_its_field(
    world: World, dispatcher: Client, crew: list[Worker]
) -> None:
    sheet = a_sheet(world, [crew[0].number], day="2025-03-09", start="02:30", end="10:00")
    shown = dispatcher.post("/records/hours/", sheet).text
    beside = re.search(r'id="id_start_error".*?</div>', shown, re.S)
    assert beside
    assert "put forward then and never shows this time" in beside[0]
    assert 'name="repeated"' not in shown


def test_a_sheet_of_one_line_tells_its_error_beside_the_line(
    world: World, dispatcher: Client, crew: list[Worker]
) -> None:
    sheet = a_sheet(world, [crew[0].number])
    dispatcher.post("/records/hours/", sheet)
    assert 'id="id_person_0_error"' in dispatcher.post("/records/hours/", sheet).text


def test_somebody_in_two_parts_of_a_job_is_one_line_of_its_sheet(world: World, dispatcher: Client) -> None:
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector)
    job = world.job(["erector"])
    middle = job.start + timedelta(days=1)
    for start, end in ((job.start, middle), (middle + timedelta(hours=1), job.end)):
        crews.assign(
            slot_id=job.slots.get().pk,
            worker_id=erector.pk,
            start=start,
            end=end,
            assigned_at=world.now,
            assigned_by=None,
        )
    shown = dispatcher.get(f"/records/hours/?job={job.pk}").text
    assert len(re.findall(rf'<input[^>]*value="{erector.number} Mira Sandoval"', shown)) == 1


def test_a_sheet_without_lines_still_says_what_is_missing(world: World, dispatcher: Client) -> None:
    assert "Name at least one person" in dispatcher.post("/records/hours/", a_sheet(world, [], lines="0")).text
