"""What the packet says, what is missing, what is recorded as sent, and what has changed since."""

from __future__ import annotations

import json
from datetime import datetime, time, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from jsonschema import Draft202012Validator, FormatChecker

from registry.crews import services as crews
from registry.crews.models import AssignmentState
from registry.database.errors import RecordRefused
from registry.database.readers import account_reader, reading_as
from registry.equipment import services as equipment
from registry.evidence import services as evidence
from registry.inspection.bundle_records import records_of
from registry.inspection.services import open_file
from registry.ledger import queries as log
from registry.ledger import services as ledger
from registry.ledger.notes import Signer
from registry.notices import services
from registry.notices.content import SCHEMA, canonical_text, sha256_of
from registry.notices.document import days_of
from registry.notices.models import AttachedProcedure, JobParty, NamedSupervisor, SentNotice
from registry.notices.packet import packet_of
from registry.notices.words import change_in_words
from registry.people import services as people
from tests.columbia import ZONE, Columbia

pytestmark = pytest.mark.django_db


def missing(columbia: Columbia) -> list[str]:
    return [each.part for each in columbia.packet().missing]


def changed(columbia: Columbia) -> dict[str, tuple[str, str]]:
    told = (change_in_words(each, ZONE) for each in columbia.packet().changes)
    return {each.what: (each.before, each.after) for each in told}


def test_a_packet_says_what_is_missing_until_it_is_given(columbia: Columbia) -> None:
    assert missing(columbia) == ["parties", "address", "scope", "configuration", "procedures"]
    columbia.party()
    columbia.particulars()
    assert missing(columbia) == ["procedures"]
    columbia.procedure()
    assert columbia.packet().complete


def test_the_engineer_alone_is_not_the_responsible_parties(columbia: Columbia) -> None:
    columbia.party(role="engineer", name="Orlo Vantreek")
    assert "parties" in missing(columbia)


def test_the_content_is_as_its_schema_says(columbia: Columbia) -> None:
    columbia.complete()
    content = columbia.packet().content
    schema = json.loads(SCHEMA.read_text())
    Draft202012Validator.check_schema(schema)
    assert list(Draft202012Validator(schema, format_checker=FormatChecker()).iter_errors(content)) == []
    assert content["crane"] == {
        "make": "Brandvold",
        "type": "hammerhead",
        "model": "BT-180",
        "serial_number": "180-7",
        "configuration": "Mast 42 m, jib 50 m, two ties",
    }


def test_the_supervisor_comes_with_qualifications_from_the_register(columbia: Columbia) -> None:
    [said] = columbia.packet().content["supervisors"]
    assert said["worker"]["name"] == "Ysolde Marchetwick"
    assert said["title"] == "qualified supervisor"
    assert said["hours"] == {"minutes_on_model": 25 * 8 * 60, "minutes_in_operation": 0, "entries": 25}
    assert [each["status"] for each in said["certificates"]] == ["in_force"]
    assert (said["assessment"]["outcome"], said["assessment"]["assessor"]) == ("pass", "Petra Lindqvist")
    assert said["appointment"]["stop_work_authority"]
    assert said["decision"]["outcome"] == "permitted"


def test_hours_that_overlap_or_that_nobody_signed_do_not_add_up(columbia: Columbia) -> None:
    world = columbia.world
    start = world.now.replace(hour=15, minute=0) - timedelta(days=36)
    unsigned = evidence.NewHours(
        worker=columbia.supervisor,
        model=world.model,
        operation="climbing",
        start=start,
        end=start + timedelta(hours=4),
        employer=world.employer,
        site=world.site,
        crane=world.crane,
    )
    evidence.record_hours(new=unsigned, recorded_at=world.now, recorded_by=None)
    [said] = columbia.packet().content["supervisors"]
    assert said["hours"]["minutes_on_model"] == 25 * 8 * 60


def test_the_decision_is_proven_once_a_checkpoint_covers_it(columbia: Columbia, signer: Signer) -> None:
    [before] = columbia.packet().content["supervisors"]
    assert before["decision"]["log_proof"] is None
    seen = columbia.packet().fingerprint
    ledger.make_checkpoint(signers=[signer], at=columbia.world.now)
    [after] = columbia.packet().content["supervisors"]
    number = int(after["decision"]["record"].partition(":")[2])
    assert after["decision"]["log_proof"] == log.inclusion_proof("crews_decision", number).as_json()
    assert columbia.packet().fingerprint == seen


def test_what_lacks_a_part_is_not_recorded_as_sent(columbia: Columbia) -> None:
    columbia.party()
    columbia.particulars(site_address="")
    columbia.procedure()
    with pytest.raises(RecordRefused) as refused:
        columbia.send()
    assert [each.message for each in refused.value.problems] == [
        "The site has no address. Give the address under the particulars."
    ]
    assert not SentNotice.objects.exists()


def test_what_is_recorded_as_sent_is_what_was_shown(columbia: Columbia) -> None:
    columbia.complete()
    seen = columbia.packet().fingerprint
    columbia.party(role="owner", name="Spit Holdings")
    with pytest.raises(RecordRefused, match="changed since it was shown"):
        columbia.send(seen=seen)


def test_whom_a_notice_names_is_seen_by_its_employer_and_the_person(columbia: Columbia) -> None:
    columbia.complete()
    columbia.send()
    world = columbia.world
    elsewhere = people.register_employer(name="Cormorant Lift Yard", jurisdiction="US", recorded_at=world.now)
    accounts = {
        "employer": world.dispatcher(),
        "other": people.open_account(username="other", password=None, kind="employer", employer=elsewhere),
        "worker": people.open_account(username="w", password=None, kind="worker", worker=columbia.supervisor),
        "signer": people.open_account(username="s", password=None, kind="worker", worker=world.assessor),
        "inspector": people.open_account(username="inspector", password=None, kind="inspector"),
    }
    seen = {}
    for who, account in accounts.items():
        with reading_as(account_reader(account.pk)):
            seen[who] = NamedSupervisor.objects.count()
    assert seen == {"employer": 1, "other": 0, "worker": 1, "signer": 0, "inspector": 1}


def test_a_sent_notice_keeps_its_content_its_sha256_and_whom_it_names(columbia: Columbia) -> None:
    columbia.complete()
    packet = columbia.packet()
    notice = columbia.send()
    assert (notice.content, notice.sha256) == (packet.text, sha256_of(packet.text))
    assert (notice.rule_key, notice.rule_version) == ("ca-bc", 1)
    named = NamedSupervisor.objects.get(notice=notice)
    assert named.worker == columbia.supervisor
    assert named.content == canonical_text({"supervisor": packet.content["supervisors"]})
    assert columbia.packet().changes == ()


@pytest.mark.parametrize("given", [{"sent_to": ""}, {"how": "by pigeon"}])
def test_a_sending_says_how_and_to_whom(columbia: Columbia, given: dict[str, Any]) -> None:
    columbia.complete()
    with pytest.raises(RecordRefused) as refused:
        columbia.send(**given)
    assert [each.field for each in refused.value.problems] == list(given)


def test_nothing_is_sent_in_the_future(columbia: Columbia) -> None:
    columbia.complete()
    with pytest.raises(RecordRefused, match="before it is sent"):
        columbia.send(sent_at=columbia.world.now + timedelta(minutes=1))


def test_nothing_is_sent_before_the_job_was_planned(columbia: Columbia) -> None:
    columbia.complete()
    with pytest.raises(RecordRefused, match="first planned at") as refused:
        columbia.send(sent_at=columbia.world.now - timedelta(minutes=1))
    assert [each.field for each in refused.value.problems] == ["sent_at"]


def test_work_that_ends_at_midnight_ends_the_day_before(columbia: Columbia) -> None:
    first = columbia.world.now.astimezone(ZONE).date() + timedelta(days=40)
    midnights = [datetime.combine(first + timedelta(days=days), time(0), ZONE) for days in (0, 2)]
    columbia.job = columbia.planned_from(*midnights)
    packet = columbia.packet()
    work = packet.content["work"]
    assert (work["first_day"], work["last_day"]) == (str(first), str(first + timedelta(days=1)))
    assert days_of(packet.content) == 2
    assert packet.deadline is not None
    assert packet.deadline.last_day == first - timedelta(days=14)


def test_the_database_refuses_a_content_that_is_not_what_its_sha256_says(columbia: Columbia) -> None:
    columbia.complete()
    notice = columbia.send()
    with pytest.raises(RecordRefused, match="SHA-256"), services.refusals():
        SentNotice.objects.create(
            job=columbia.job,
            supersedes=notice,
            content="{}",
            sha256=notice.sha256,
            sent_at=notice.sent_at,
            how="post",
            sent_to="somebody",
            recorded_at=notice.recorded_at,
        )


def test_a_later_notice_supersedes_the_one_before_and_a_mistake_is_taken_back(columbia: Columbia) -> None:
    columbia.complete()
    first = columbia.send()
    columbia.particulars(configuration="Mast 48 m, jib 50 m, two ties")
    assert changed(columbia) == {
        "Configuration of the crane": ("Mast 42 m, jib 50 m, two ties", "Mast 48 m, jib 50 m, two ties")
    }
    second = columbia.send()
    assert second.supersedes == first
    assert columbia.packet().changes == ()
    services.withdraw(second, job=columbia.job, recorded_at=columbia.world.now, recorded_by=None)
    packet = columbia.packet()
    assert [(each.number, each.withdrawn) for each in packet.history] == [(2, True), (1, False)]
    assert packet.sent is not None
    assert packet.sent.notice == first
    assert packet.needs_notice
    third = columbia.send()
    assert third.supersedes is not None
    assert third.supersedes.withdrawn
    assert columbia.packet().changes == ()


def test_a_held_supervisor_is_a_change_and_keeps_the_packet_back(columbia: Columbia) -> None:
    columbia.complete()
    columbia.send()
    world = columbia.world
    world.instruct(columbia.supervisor, "toolbox_talk", world.now)
    assert AssignmentState.objects.get(assignment=columbia.assignment).standing == "held"
    assert changed(columbia) == {
        "Supervisor of the work and qualifications: Ysolde Marchetwick, standing": (
            "stands",
            "held: the place is not filled",
        )
    }
    assert missing(columbia) == ["supervisors"]


def test_an_ended_supervisor_is_no_longer_named_and_another_is(columbia: Columbia) -> None:
    columbia.complete()
    columbia.send()
    assert columbia.assignment is not None
    crews.end_assignment(
        assignment=columbia.assignment,
        ends_at=columbia.world.now,
        reason="hurt a knee",
        recorded_at=columbia.world.now,
        recorded_by=None,
    )
    assert missing(columbia) == ["supervisors"]
    columbia.assigned(columbia.qualified("Barnaby", "Quenneville"))
    assert changed(columbia) == {
        "Supervisor of the work and qualifications: Ysolde Marchetwick": ("named", "not named"),
        "Supervisor of the work and qualifications: Barnaby Quenneville": ("not named", "named"),
    }


def test_another_plan_keeps_the_notices_and_parties_of_the_one_it_replaces(columbia: Columbia) -> None:
    columbia.complete()
    columbia.send()
    columbia.job = columbia.planned(26, supersedes=columbia.job)
    columbia.assigned(columbia.supervisor)
    what = changed(columbia)
    assert {"Start", "Estimated duration: end"} <= what.keys()
    assert missing(columbia) == []
    party = JobParty.objects.get()
    services.record_party(
        job=columbia.job,
        role="employer",
        name=party.name,
        phone="555 0199",
        supersedes=party,
        recorded_at=columbia.world.now,
        recorded_by=None,
    )
    assert changed(columbia)["Responsible parties: Halvorsby Tower Works, telephone"] == ("555 0100", "555 0199")
    assert columbia.send().supersedes is not None


def test_a_record_does_not_move_to_another_job(columbia: Columbia) -> None:
    party = columbia.party()
    other = columbia.planned(60)
    with pytest.raises(RecordRefused, match="another job"):
        services.withdraw(party, job=other, recorded_at=columbia.world.now, recorded_by=None)


@pytest.mark.parametrize("given", [{"phone": ""}, {"name": ""}, {"role": "bystander"}])
def test_a_party_has_a_part_a_name_and_a_way_to_be_reached(columbia: Columbia, given: dict[str, str]) -> None:
    with pytest.raises(RecordRefused) as refused:
        columbia.party(**given)
    assert [each.field for each in refused.value.problems] == list(given)


def test_where_no_rule_is_known_nothing_is_missing_and_there_is_no_deadline(columbia: Columbia) -> None:
    world = columbia.world
    job = world.job(["erection_supervisor"])
    packet = packet_of(job, at=world.now)
    assert (packet.rule, packet.deadline, packet.missing) == (None, None, ())
    services.record_sent(
        job=job,
        seen=packet.fingerprint,
        how="email",
        sent_to="whom it concerns",
        sent_at=world.now,
        recorded_at=world.now,
        recorded_by=None,
    )
    services.record_particulars(job=job, scope="More of it", recorded_at=world.now, recorded_by=None)
    [change] = packet_of(job, at=world.now).changes
    assert (change.part, change.needs_notice, change.duty) == ("scope", False, None)


def test_the_sites_own_address_and_the_plan_stand_in_for_particulars(columbia: Columbia) -> None:
    world = columbia.world
    site = equipment.register_site(
        name="Far Spit", address="9 Far Road", time_zone=ZONE.key, jurisdiction="CA-BC", recorded_at=world.now
    )
    job = crews.plan_job(
        employer=world.employer,
        site=site,
        crane=world.crane,
        operation="climbing",
        configuration="free standing",
        standard_key="ca-bc-tower-crane",
        start=columbia.job.start,
        end=columbia.job.end,
        roles=["erection_supervisor"],
        description="Up by one.",
        recorded_at=world.now,
        recorded_by=None,
    )
    content = packet_of(job, at=world.now).content
    assert content["site"]["address"] == "9 Far Road"
    assert (content["work"]["scope"], content["crane"]["configuration"]) == ("Up by one.", "free standing")


def test_the_packet_takes_the_same_statements_however_much_is_in_it(columbia: Columbia) -> None:
    columbia.complete()
    job = columbia.packet().job
    with CaptureQueriesContext(connection) as few:
        packet_of(job, at=columbia.world.now)
    for number in range(4):
        columbia.party(role="other", name=f"Party {number}")
        columbia.procedure(f"Procedure {number}", content=b"%PDF-1.7 " + bytes([65 + number]))
        columbia.send()
    with CaptureQueriesContext(connection) as many:
        packet_of(job, at=columbia.world.now)
    assert len(many) == len(few)


def test_everything_about_the_notice_is_in_the_bundle_of_its_job(columbia: Columbia) -> None:
    columbia.complete()
    notice = columbia.send()
    inspector = people.open_account(username="inspector", password=None, kind="inspector")
    file = open_file(
        job=columbia.job,
        reference="2026-1",
        purpose="a look",
        opened_at=columbia.world.now,
        opened_by=inspector,
    )
    records = records_of(file)
    assert records["notices_sentnotice"] == [notice.pk]
    for table in ("jobparty", "noticeparticulars", "attachedprocedure", "namedsupervisor"):
        assert len(records[f"notices_{table}"]) == 1, table
    assert AttachedProcedure.objects.get().document_id in records["evidence_document"]
