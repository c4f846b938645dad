from __future__ import annotations

import base64
import hashlib
import json
import re
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import rfc8785
from django.db import connection
from django.test.utils import CaptureQueriesContext
from jsonschema import Draft202012Validator, FormatChecker

from registry.engine.calendar import whole_minutes
from registry.evidence import corrections
from registry.evidence import services as evidence
from registry.evidence.models import Certification, HoursEntry
from registry.evidence.queries import evidence_for
from registry.people import services as people
from registry.people.models import Worker
from registry.transcripts import transcript as module
from registry.transcripts.transcript import Hours, Transcript, transcript_of
from registry.transcripts.transcript_document import print_transcript
from tests.transcripts.lives import eventful, forty_years, record_one, stand_down
from tests.transcripts.reading import opened, text_of
from tests.world import World


@pytest.fixture
def worker(world: World) -> Worker:
    return eventful(world)


@pytest.fixture
def transcript(world: World, worker: Worker) -> Transcript:
    return transcript_of(worker, known_at=world.now)


def schema() -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads(module.SCHEMA.read_text())
    return loaded


def test_minutes_are_those_of_the_entries_the_engine_sees(worker: Worker, transcript: Transcript) -> None:
    known = evidence_for(worker_ids=[worker.pk]).known_at(None)
    engine = sum(whole_minutes(each.start, each.end) for each in known.hours_of[f"worker:{worker.pk}"])
    assert transcript.minutes == engine
    # Four of 7 h 45 min, ten of 8 h, one corrected from 8 h to 6 h 45 min; one of 8 h is withdrawn.
    assert transcript.minutes == 4 * 465 + 10 * 480 + 405


def test_minutes_are_those_of_a_decision_where_all_of_them_count(world: World) -> None:
    erector = world.worker("Ilse", "Norrgård")
    world.make_erector(erector, days=25)
    job = world.job(["erector"])
    decision = world.assign(job.slots.get(), erector).decision
    counted = {each.get("found_minutes") for each in decision.answer["requirements"]} - {None}
    assert counted == {transcript_of(erector, known_at=world.now).minutes} == {25 * 480}


def test_totals_are_by_model_and_operation_and_tell_claimed_hours_apart(transcript: Transcript) -> None:
    found = {each.operation: (each.entries, each.minutes, each.claimed_minutes) for each in transcript.totals}
    assert found == {"climbing": (4, 4 * 465, 2 * 465), "dismantling": (11, 10 * 480 + 405, 405)}
    assert sum(sum(years.values()) for years in transcript.minutes_by_model_and_year.values()) == transcript.minutes


def test_each_entry_says_how_it_got_here(transcript: Transcript) -> None:
    climbing = [each.provenance for each in transcript.hours if each.operation == "climbing"]
    assert sorted(climbing) == ["claimed", "claimed", "countersigned_late", "transcribed"]
    dismantling = {each.provenance for each in transcript.hours if each.operation != "climbing" and not each.supersedes}
    assert dismantling == {"witnessed"}


def test_lateness_is_by_the_shortest_delay_of_the_standards_in_force(world: World, transcript: Transcript) -> None:
    # makers-practice-us.yaml says 7 days, us-federal-crane-assembly.yaml 14.
    assert transcript.countersign_within_days == 7
    worker = world.worker("Ada", "Orsbrook")
    record_one(world, worker, days_ago=90, late_by=8, countersigner=world.assessor)
    record_one(world, worker, days_ago=80, late_by=6, countersigner=world.assessor)
    found = transcript_of(worker, known_at=world.now).hours
    assert [each.provenance for each in found] == ["countersigned_late", "witnessed"]


def test_corrected_and_withdrawn_entries_stay_and_say_so(transcript: Transcript) -> None:
    corrected, withdrawn = only(transcript, superseded=True), only(transcript, withdrawn=True)
    correction = next(each for each in transcript.hours if each.record == corrected.superseded_by)
    assert correction.supersedes == corrected.record
    assert (corrected.minutes, correction.minutes, withdrawn.minutes) == (480, 405, 480)
    assert [each.current for each in (corrected, withdrawn, correction)] == [False, False, True]


def only(transcript: Transcript, *, superseded: bool = False, withdrawn: bool = False) -> Hours:
    [found] = [
        each
        for each in transcript.hours
        if (each.superseded_by is not None) == superseded and (each.withdrawn_at is not None) == withdrawn
    ]
    return found


def test_before_a_correction_was_recorded_it_does_not_exist(world: World, worker: Worker) -> None:
    before = transcript_of(worker, known_at=world.now - timedelta(minutes=1))
    assert all(each.current for each in before.hours)
    assert before.minutes == 4 * 465 + 12 * 480
    assert transcript_of(worker, known_at=world.now - timedelta(days=800)).hours == ()


def test_a_status_is_that_of_the_instant_and_follows_a_correction(world: World, worker: Worker) -> None:
    certificate = Certification.objects.get(worker=worker)
    evidence.correct(certificate, issuer="Norrland Board of Lifting", recorded_at=world.now, recorded_by=None)
    old, new = transcript_of(worker, known_at=world.now).certifications
    assert (old.current, new.current) == (False, True)
    assert new.status == "suspended"
    assert [each.reason for each in new.changes] == ["fee not paid"]
    [earlier] = transcript_of(worker, known_at=world.now - timedelta(days=5)).certifications
    assert (earlier.status, earlier.changes) == ("in_force", ())


def test_a_reinstated_certificate_may_still_have_run_out(world: World) -> None:
    worker = world.worker("Ada", "Orsbrook")
    certificate = evidence.record_certification(
        worker=worker,
        scheme="rigging",
        number="R-1",
        issuer="Norrland Board",
        issued=(world.now - timedelta(days=400)).date(),
        expires=(world.now - timedelta(days=1)).date(),
        models=[world.model],
        recorded_at=world.now - timedelta(days=300),
        recorded_by=None,
    )
    for number, status in enumerate(("suspended", "reinstated")):
        evidence.change_certification_status(
            certification=certificate,
            status=status,
            effective_at=world.now - timedelta(days=200),
            reason="The board's letter",
            recorded_at=world.now - timedelta(days=200 - number),
            recorded_by=world.registrar(),
        )
    statuses = [
        transcript_of(worker, known_at=world.now - timedelta(days=days)).certifications[0].status
        for days in (250, 200, 100, 1, 0)
    ]
    assert statuses == ["in_force", "suspended", "in_force", "in_force", "expired"]
    assert transcript_of(worker, known_at=world.now).certifications[0].models == ("Brandvold BT-180",)


def test_a_revoked_certificate_is_revoked_for_good_as_in_a_decision(world: World) -> None:
    worker = world.worker("Ada", "Orsbrook")
    certificate = evidence.record_certification(
        worker=worker,
        scheme="rigging",
        number="R-2",
        issuer="Norrland Board",
        issued=(world.now - timedelta(days=400)).date(),
        recorded_at=world.now - timedelta(days=300),
        recorded_by=None,
    )
    for days_ago, status in ((200, "revoked"), (100, "reinstated")):
        when = world.now - timedelta(days=days_ago)
        evidence.change_certification_status(
            certification=certificate,
            status=status,
            effective_at=when,
            reason="The board's letter",
            recorded_at=when,
            recorded_by=world.registrar(),
        )
    for days_ago, expected in ((250, "in_force"), (150, "revoked"), (50, "revoked")):
        known_at = world.now - timedelta(days=days_ago)
        assert transcript_of(worker, known_at=known_at).certifications[0].status == expected


def test_stand_downs_name_what_answers_them(transcript: Transcript) -> None:
    answered, in_force = transcript.stand_downs
    assert [len(answered.retraining), len(answered.passed_after)] == [1, 1]
    assert [in_force.retraining, in_force.passed_after] == [(), ()]


def test_retraining_answers_a_stand_down_that_was_corrected_since(world: World) -> None:
    worker = world.worker("Ada", "Orsbrook")
    bar = stand_down(world, worker, days_ago=20, reason="speeding")
    evidence.record_instruction(
        worker=worker,
        topic="crew_tasks_and_hazards",
        provider="employer",
        completed_at=world.now - timedelta(days=10),
        after_stand_down=bar,
        document=world.scan,
        recorded_at=world.now - timedelta(days=10),
        recorded_by=None,
    )
    corrections.correct_with_reason(
        record=bar,
        changes={"reason": "walked under the load"},
        reason="The foreman's note",
        employer=world.employer,
        recorded_at=world.now,
        recorded_by=world.registrar(),
    )
    _old, new = transcript_of(worker, known_at=world.now).stand_downs
    assert len(new.retraining) == 1


def test_founding_appointments_are_told_as_such(world: World) -> None:
    text = " ".join(text_of(print_of(transcript_of(world.assessor, known_at=world.now), world)))
    assert "FOUNDING APPOINTMENT" in text
    assert "letter.pdf" in text


def print_of(transcript: Transcript, world: World, **more: Any) -> bytes:
    return print_transcript(transcript, printed_at=world.now, **more)


def test_paper_tells_every_record(world: World, transcript: Transcript) -> None:
    text = " ".join(text_of(print_of(transcript, world)))
    corrected = only(transcript, superseded=True)
    correction = next(each for each in transcript.hours if each.supersedes is not None)
    for expected in (
        "Márta Øverby-Nguyễn",
        transcript.worker_number,
        "5 May 1985",
        "English, French",
        transcript.document_number,
        "117 h 45 min in 15 entries that stand; 2 entries were corrected or withdrawn",
        "NOT YET COMPETENT",
        "Set the wedges",
        "on behalf of Norrland Board, a third party",
        "on behalf of Halvorsby Tower Works, the employer; it counts for that employer's work only",
        "suspended (fee not paid)",
        "competent person; with the authority to stop work",
        "Reason: walked under the load",
        "No retraining is recorded: the stand-down is in force.",
        "WITHDRAWN",
        f"SUPERSEDED by no. {correction.number}",
        f"corrects no. {corrected.number}",
        "by people who sign only for one another, do not count",
        "whether whoever signed was entitled to",
        "claimed: nobody signed",
        "countersigned late",
        "transcribed from paper",
    ):
        assert expected in text, expected
    assert "/check/" not in text


def test_each_minute_of_the_entries_is_on_paper(world: World, transcript: Transcript) -> None:
    pages = text_of(print_of(transcript, world))
    before = next(number for number, page in enumerate(pages) if "Every hours entry" in page)
    text = " ".join(pages[before + 1 :])
    shown = [int(hours) * 60 + int(minutes) for hours, minutes in re.findall(r"(?<![\d:])(\d):(\d\d)(?![\d:])", text)]
    assert sorted(shown) == sorted(each.minutes for each in transcript.hours)


def test_embedded_copy_is_the_data_and_makes_the_document_number(world: World, transcript: Transcript) -> None:
    pdf = opened(print_of(transcript, world))
    file = pdf.attachments["transcript.json"].get_file()
    content = file.read_bytes()
    assert json.loads(content) == transcript.as_json()
    assert file.mime_type == "application/json"
    assert str(pdf.Root.AF[0].AFRelationship) == "/Source"
    digits = base64.b32encode(hashlib.sha256(content).digest())[:12].decode()
    assert transcript.document_number.replace("-", "") == f"T{digits}"


def test_embedded_copy_is_canonical(transcript: Transcript) -> None:
    assert transcript.canonical == rfc8785.dumps(transcript.as_json())


def test_data_keeps_to_its_schema(world: World, transcript: Transcript) -> None:
    Draft202012Validator.check_schema(schema())
    validator = Draft202012Validator(schema(), format_checker=FormatChecker())
    for each in (
        transcript,
        forty_years(60),
        transcript_of(world.assessor, known_at=world.now),
        transcript_of(world.worker("Ada", "Orsbrook"), known_at=world.now),
    ):
        assert [error.message for error in validator.iter_errors(each.as_json())] == []


def test_schema_describes_every_field_and_no_other(transcript: Transcript) -> None:
    validator = Draft202012Validator(schema())
    for change in ({"employer": None}, {"provenance": "guessed"}, {"extra": 1}, {"minutes": 4.5}):
        data = json.loads(transcript.canonical)
        data["hours"][0].update(change)
        assert list(validator.iter_errors(data)), change


def test_someone_without_records_has_a_transcript(world: World) -> None:
    nobody = people.register_worker(given_name="Ada", family_name="Orsbrook", recorded_at=world.now, recorded_by=None)
    [page] = text_of(print_of(transcript_of(nobody, known_at=world.now), world))
    assert "No hours are recorded." in page
    assert page.count("None recorded.") == 6
    assert "Date of birth not recorded" in page
    assert "Page 1 of 1" in page


def test_statements_are_as_many_for_a_longer_record(world: World, worker: Worker) -> None:
    before = statements(world, worker)
    for number in range(5):
        record_one(world, worker, days_ago=30 + number, countersigner=world.assessor)
    people.record_language(worker=worker, language="de", recorded_at=world.now, recorded_by=None)
    assert statements(world, worker) == before <= 12
    assert HoursEntry.objects.filter(worker=worker).count() > 20


def statements(world: World, worker: Worker) -> int:
    with CaptureQueriesContext(
        connection,
    ) as captured:
        transcript_of(worker, known_at=world.now)
    return len(captured)


def test_work_past_midnight_says_on_which_day_it_ended(world: World) -> None:
    worker = world.worker("Mira", "Sandoval")
    zone = ZoneInfo(world.site.time_zone)
    for days_ago, hour, length in ((9, 22, 8), (5, 16, 8)):
        start = (world.now.astimezone(zone) - timedelta(days=days_ago)).replace(hour=hour, minute=0)
        entry = evidence.NewHours(
            worker=worker,
            model=world.model,
            operation="climbing",
            start=start,
            end=start + timedelta(hours=length),
            employer=world.employer,
            site=world.site,
        )
        evidence.record_hours(new=entry, recorded_at=world.now, recorded_by=None)
    first, ended, evening = (world.now.astimezone(zone) - timedelta(days=each) for each in (9, 8, 5))
    text = " ".join(text_of(print_of(transcript_of(worker, known_at=world.now), world)))
    assert f"{first.day} {first:%b} 22:00\N{EN DASH} {ended.day} {ended:%b} 06:00" in text
    assert f"{evening.day} {evening:%b} 16:00\N{EN DASH}00:00" in text


def test_letter_in_french_has_the_same_entries(world: World, transcript: Transcript) -> None:
    made = print_of(transcript, world, language="fr", paper="Letter")
    assert opened(made).attachments["transcript.json"].get_file().read_bytes() == transcript.canonical
    assert "5 mai 1985" in text_of(made)[0]
    # Set in the language of the paper, not of the screen.
    assert re.search(r"\b20\d\d : \d+ saisie", " ".join(text_of(made)))
