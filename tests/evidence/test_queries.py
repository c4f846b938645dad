"""The engine's evidence comes out of the database as it went in, in a fixed number of statements."""

from datetime import date, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db import connection
from django.test.utils import CaptureQueriesContext

from registry.engine import evidence as engine
from registry.equipment.services import declare_family, place_crane
from registry.evidence import services
from registry.evidence.queries import direct_signers, evidence_for, signer_closure
from registry.people.services import record_language


def statements(**asked: Any) -> int:
    with CaptureQueriesContext(connection) as captured:
        evidence_for(**asked)
    return len(captured)


def test_the_number_of_statements_does_not_grow(books: Any) -> None:
    nothing = statements(worker_ids=[books.ana.pk])
    for each in range(12):
        books.sign(books.hours(each, each + 1, crane=books.crane), books.bo)
        books.hours(each, each + 1, worker=books.bo)
    full = statements(worker_ids=[books.ana.pk])
    assert full == nothing == 2
    assert statements(worker_ids=[books.ana.pk, books.bo.pk, books.cy.pk]) == full
    assert statements(worker_ids=[books.ana.pk], known_at=books.now) == full


def test_hours_come_out_as_they_went_in(books: Any) -> None:
    entry = books.hours(8, 12, crane=books.crane, configuration="internal climbing", capacity="rigger")
    signature = books.sign(entry, books.bo)
    bare = books.hours(13, 14)
    found = evidence_for(worker_ids=[books.ana.pk])
    known = {each.id: each for each in found.hours}
    assert known[f"hours:{entry.pk}"] == engine.HoursEntry(
        id=f"hours:{entry.pk}",
        recorded_at=books.now,
        worker=f"worker:{books.ana.pk}",
        model=f"model:{books.model.pk}",
        operation="erection",
        start=entry.start,
        end=entry.end,
        employer=f"employer:{books.employer.pk}",
        capacity="rigger",
        configuration="internal climbing",
        zone=ZoneInfo("America/Denver"),
        crane=f"crane:{books.crane.pk}",
        site=f"site:{books.site.pk}",
        countersignatures=(engine.Countersignature(f"worker:{books.bo.pk}", signature.at, books.now),),
    )
    unsigned = known[f"hours:{bare.pk}"]
    assert (unsigned.crane, unsigned.configuration, unsigned.document, unsigned.issuer) == (None,) * 4
    assert unsigned.countersignatures == ()
    assert unsigned.start.utcoffset() == timedelta(0)


def test_everything_else_comes_out_as_it_went_in(books: Any) -> None:
    common: dict[str, Any] = {"recorded_at": books.now, "recorded_by": None}
    ana, model, employer = f"worker:{books.ana.pk}", f"model:{books.model.pk}", f"employer:{books.employer.pk}"
    family = declare_family(
        maker=books.maker,
        models=[books.model, books.sibling],
        document="Bulletin 7",
        valid_from=date(2025, 1, 1),
        **common,
    )
    books.hours(crane=books.crane)
    placement = place_crane(crane=books.crane, site=books.site, start=books.midnight, **common)
    assessment = services.record_assessment(
        worker=books.ana,
        role="erector",
        model=books.model,
        operations=["erection", "climbing"],
        assessed_at=books.midnight,
        outcome="pass",
        assessor=books.bo,
        third_party="Cedar Board",
        **common,
    )
    certificate = services.record_certification(
        worker=books.ana,
        scheme="Erection",
        number="17",
        issuer="Cedar Board",
        issued=date(2026, 1, 1),
        scope=["erection"],
        models=[books.model],
        classes=["luffing"],
        **common,
    )
    status = services.change_certification_status(
        certification=certificate, status="suspended", effective_at=books.now, **common
    )
    bar = services.stand_down(worker=books.ana, start=books.midnight, reason="Dropped load", **common)
    course = services.record_instruction(
        worker=books.ana,
        topic="signals",
        provider="maker",
        completed_at=books.now,
        model=books.model,
        after_stand_down=bar,
        document=services.attach_document(name="a.pdf", media_type="application/pdf", content=b"%PDF-", **common),
        **common,
    )
    duty = services.appoint(
        worker=books.ana,
        duty="trainee",
        employer=books.employer,
        start=books.midnight,
        stop_work_authority=True,
        **common,
    )
    skill = record_language(worker=books.ana, language="en", **common)

    found = evidence_for(worker_ids=[books.ana.pk])
    at = books.now
    assert found.people == {ana: engine.Person(ana, "Ana Lind")}
    assert found.models[model] == engine.Model(model, "Alder", "A 10", "hammerhead")
    assert found.employers[employer] == engine.Employer(employer, "Northern Hoist")
    assert found.families == (
        engine.FamilyDeclaration(
            id=f"family:{family.pk}",
            recorded_at=at,
            maker="Alder",
            models=frozenset({model, f"model:{books.sibling.pk}"}),
            document="Bulletin 7",
            valid_from=date(2025, 1, 1),
        ),
    )
    assert found.placements == (
        engine.CranePlacement(
            id=f"placement:{placement.pk}",
            recorded_at=at,
            crane=f"crane:{books.crane.pk}",
            model=model,
            site=f"site:{books.site.pk}",
            start=books.midnight,
        ),
    )
    assert found.assessments == (
        engine.Assessment(
            id=f"assessment:{assessment.pk}",
            recorded_at=at,
            worker=ana,
            role="erector",
            model=model,
            operations=frozenset({"erection", "climbing"}),
            assessed_at=books.midnight,
            outcome="pass",
            assessor=f"worker:{books.bo.pk}",
            third_party=True,
        ),
    )
    assert found.certifications == (
        engine.Certification(
            id=f"certification:{certificate.pk}",
            recorded_at=at,
            worker=ana,
            scheme="Erection",
            number="17",
            issued=date(2026, 1, 1),
            scope=frozenset({"erection"}),
            models=frozenset({model}),
            classes=frozenset({"luffing"}),
        ),
    )
    assert found.certification_statuses == (
        engine.CertificationStatus(
            id=f"status:{status.pk}",
            recorded_at=at,
            worker=ana,
            certification=f"certification:{certificate.pk}",
            status="suspended",
            effective_at=at,
        ),
    )
    assert found.instruction == (
        engine.Instruction(
            id=f"instruction:{course.pk}",
            recorded_at=at,
            worker=ana,
            topic="signals",
            completed_at=at,
            provider="maker",
            model=model,
            after_stand_down=f"stand_down:{bar.pk}",
        ),
    )
    assert found.appointments == (
        engine.Appointment(
            id=f"appointment:{duty.pk}",
            recorded_at=at,
            worker=ana,
            duty="trainee",
            start=books.midnight,
            employer=employer,
            stop_work_authority=True,
        ),
    )
    assert found.stand_downs == (
        engine.StandDown(
            id=f"stand_down:{bar.pk}", recorded_at=at, worker=ana, start=books.midnight, reason="Dropped load"
        ),
    )
    assert found.languages == (
        engine.LanguageSkill(id=f"language:{skill.pk}", recorded_at=at, worker=ana, language="en"),
    )


def test_identifiers_are_unique_across_kinds(books: Any) -> None:
    books.hours()
    services.stand_down(
        worker=books.ana, start=books.midnight, reason="Dropped load", recorded_at=books.now, recorded_by=None
    )
    found = evidence_for(worker_ids=[books.ana.pk])
    identifiers = [each.id for _, records in found.record_kinds() for each in records]
    assert len(identifiers) == len(set(identifiers)) == 2


def test_of_those_who_signed_only_what_tells_against_them_is_read(books: Any) -> None:
    """A signer's own hours matter only where they make the signer dependent or a trainee."""
    books.hours(0, 1)
    books.hours(2, 3, worker=books.bo)
    signed_by_ana = books.hours(4, 5, worker=books.bo)
    books.sign(signed_by_ana, books.ana)
    as_trainee = books.hours(6, 7, worker=books.bo, capacity="trainee")
    found = evidence_for(worker_ids=[books.ana.pk], grounds_of=[books.bo.pk])
    assert {each.id for each in found.hours if each.worker == f"worker:{books.bo.pk}"} == {
        f"hours:{signed_by_ana.pk}",
        f"hours:{as_trainee.pk}",
    }
    assert len([each for each in found.hours if each.worker == f"worker:{books.ana.pk}"]) == 1


def test_what_was_not_known_then_is_left_out(books: Any) -> None:
    first, then, second = (books.now - timedelta(minutes=each) for each in (6, 4, 2))
    entry = books.hours(recorded_at=first)
    books.sign(entry, books.bo, recorded_at=second)
    services.correct(entry, operation="climbing", recorded_at=second, recorded_by=None)
    (known,) = evidence_for(worker_ids=[books.ana.pk], known_at=then).hours
    assert (known.operation, known.countersignatures) == ("erection", ())
    # The whole record, asked about the same instant, says the same.
    assert evidence_for(worker_ids=[books.ana.pk]).known_at(then).hours == (known,)
    (now,) = evidence_for(worker_ids=[books.ana.pk]).known_at(None).hours
    assert now.operation == "climbing"


def test_signers_are_found_at_any_remove_and_around_a_circle(books: Any) -> None:
    books.sign(books.hours(), books.bo)
    services.record_assessment(
        worker=books.bo,
        role="erector",
        model=books.model,
        operations=["erection"],
        assessed_at=books.midnight,
        outcome="pass",
        assessor=books.cy,
        employer=books.employer,
        recorded_at=books.now,
        recorded_by=None,
    )
    books.sign(books.hours(worker=books.cy), books.ana)
    everybody = {books.ana.pk, books.bo.pk, books.cy.pk}
    assert direct_signers(books.ana.pk) == {books.bo.pk}
    assert direct_signers(books.bo.pk) == {books.cy.pk}
    assert signer_closure(books.ana.pk) == signer_closure(books.bo.pk) == everybody


def test_who_signed_for_nobody_stands_alone(books: Any) -> None:
    assert signer_closure(books.cy.pk) == {books.cy.pk}
    assert direct_signers(books.cy.pk) == set()
