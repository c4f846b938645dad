"""Recording, correcting and withdrawing evidence through the services."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest

from registry.database.errors import RecordRefused
from registry.equipment.services import place_crane
from registry.evidence import services
from registry.evidence.models import Certification, CertificationStatus, HoursEntry
from registry.evidence.queries import evidence_for, zone
from registry.people.services import employ, record_language


def rules(refused: pytest.ExceptionInfo[RecordRefused]) -> set[tuple[str, str]]:
    return {(each.field, each.rule) for each in refused.value.problems}


def refused_rules(act: Callable[[], object]) -> set[tuple[str, str]]:
    with pytest.raises(RecordRefused) as refused:
        act()
    return rules(refused)


def certify(books: Any, **given: Any) -> Certification:
    return services.record_certification(
        **{
            "worker": books.ana,
            "scheme": "Erection",
            "number": "17",
            "issuer": "Cedar Board",
            "issued": date(2026, 1, 1),
            "recorded_at": books.now,
            "recorded_by": None,
            **given,
        }
    )


def assess(books: Any, **given: Any) -> Any:
    return services.record_assessment(
        **{
            "worker": books.ana,
            "role": "erector",
            "model": books.model,
            "operations": ["erection"],
            "assessed_at": books.midnight,
            "outcome": "pass",
            "assessor": books.bo,
            "employer": books.employer,
            "recorded_at": books.now,
            "recorded_by": None,
            **given,
        }
    )


# Hours


def test_a_day_holds_24_hours(books: Any) -> None:
    books.hours(0, 20)
    books.hours(20, 24)
    assert refused_rules(lambda: books.hours(23, 24)) == {("end", "a_day_has_24_hours")}
    assert HoursEntry.objects.count() == 2


def test_the_day_is_the_sites(books: Any) -> None:
    # In UTC these 25 hours lie on two days, at the site on one.
    books.hours(0, 13)
    assert refused_rules(lambda: books.hours(12, 24)) == {("end", "a_day_has_24_hours")}


def test_hours_over_midnight_count_on_both_days(books: Any) -> None:
    books.hours(20, 28)
    books.hours(28, 48)
    assert refused_rules(lambda: books.hours(47, 48)) == {("end", "a_day_has_24_hours")}


def test_another_workers_day_is_another_day(books: Any) -> None:
    books.hours(0, 24)
    books.hours(0, 24, worker=books.bo)


def test_a_corrected_entry_gives_its_time_back(books: Any) -> None:
    entry = books.hours(0, 24)
    services.correct(entry, end=entry.start + timedelta(hours=8), recorded_at=books.now, recorded_by=None)
    books.hours(8, 24)
    assert HoursEntry.objects.current().count() == 2


def test_hours_in_the_future_are_refused(books: Any) -> None:
    start = (books.now + timedelta(days=1)).replace(second=0, microsecond=0)
    hours = (start - books.midnight) / timedelta(hours=1)
    assert refused_rules(lambda: books.hours(hours, hours + 1)) == {("end", "hours_are_not_in_the_future")}


@pytest.mark.parametrize(
    ("start", "end", "given", "expected"),
    [
        (8, 8, {}, ("end", "hours_end_is_after_start")),
        (8, 33, {}, ("end", "hours_fit_into_24_hours")),
        (8, 12, {"operation": "painting"}, ("operation", "hours_operation_is_known")),
        (8, 12, {"capacity": "onlooker"}, ("capacity", "hours_capacity_is_a_role")),
        (8, 12, {"origin": "paper"}, ("document", "hours_from_paper_have_a_scan")),
        (8, 12, {"origin": "import"}, ("origin", "hours_of_another_register_need_its_signature")),
        (8, 12.001, {}, ("start", "hours_are_in_whole_minutes")),
    ],
)
def test_hours_say_which_field_is_wrong(
    books: Any, start: float, end: float, given: dict[str, Any], expected: tuple[str, str]
) -> None:
    assert refused_rules(lambda: books.hours(start, end, **given)) == {expected}


def test_the_crane_is_of_the_model(books: Any) -> None:
    books.hours(crane=books.crane)
    assert refused_rules(lambda: books.hours(crane=books.foreign_crane)) == {("crane", "crane_is_of_the_model")}


def test_many_rows_are_recorded_all_or_none(books: Any) -> None:
    rows = [books.new_hours(0, 10), books.new_hours(10, 20), books.new_hours(18, 24)]
    act = lambda: services.record_hours_in_bulk(rows=rows, recorded_at=books.now, recorded_by=None)  # noqa: E731
    assert refused_rules(act) == {("rows[2].end", "a_day_has_24_hours")}
    assert not HoursEntry.objects.exists()
    assert len(services.record_hours_in_bulk(rows=rows[:2], recorded_at=books.now, recorded_by=None)) == 2


def test_an_imported_entry_is_withdrawn_though_its_line_is_unique(books: Any) -> None:
    entry = books.hours(0, 1, imported_line="a1")
    assert services.withdraw(entry, recorded_at=books.now, recorded_by=None).imported_line == ""
    assert not HoursEntry.objects.current().exists()


def test_a_line_of_an_import_comes_in_once(books: Any) -> None:
    books.hours(0, 1, imported_line="a1")
    with pytest.raises(RecordRefused):
        books.hours(2, 3, imported_line="a1")


# Countersignatures


def test_who_may_not_countersign(books: Any) -> None:
    entry = books.hours()
    assert refused_rules(lambda: books.sign(entry, books.ana)) == {("by", "nobody_countersigns_their_own_hours")}
    books.sign(entry, books.bo)
    assert refused_rules(lambda: books.sign(entry, books.bo)) == {("by", "nobody_countersigns_an_entry_twice")}


def test_only_a_current_entry_is_countersigned(books: Any) -> None:
    entry = books.hours()
    services.correct(entry, operation="climbing", recorded_at=books.now, recorded_by=None)
    assert refused_rules(lambda: books.sign(entry, books.bo)) == {("entry", "entry_is_current")}


def test_a_corrected_entry_is_signed_anew(books: Any) -> None:
    entry = books.hours()
    books.sign(entry, books.bo)
    corrected = services.correct(entry, operation="climbing", recorded_at=books.now, recorded_by=None)
    (known,) = evidence_for(worker_ids=[books.ana.pk]).known_at(None).hours
    assert known.id == f"hours:{corrected.pk}"
    assert known.operation == "climbing"
    assert known.countersignatures == ()


# Assessments, certificates, the rest


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ({"role": "onlooker"}, ("role", "assessment_role_is_known")),
        ({"outcome": "splendid"}, ("outcome", "assessment_outcome_is_known")),
        ({"operations": []}, ("operations", "assessment_operations_are_known")),
        ({"operations": ["painting"]}, ("operations", "assessment_operations_are_known")),
        ({"third_party": "Cedar Board"}, ("third_party", "assessment_is_third_partys_or_employers")),
        ({"employer": None}, ("third_party", "assessment_is_third_partys_or_employers")),
        ({"tasks": [{"task": "slew lock", "met": False}]}, ("tasks", "a_pass_meets_every_task")),
    ],
)
def test_an_assessment_says_which_field_is_wrong(books: Any, given: dict[str, Any], expected: tuple[str, str]) -> None:
    assert refused_rules(lambda: assess(books, **given)) == {expected}


def test_nobody_assesses_themself(books: Any) -> None:
    assert refused_rules(lambda: assess(books, assessor=books.ana)) == {("assessor", "nobody_assesses_themself")}


def test_a_certificate_has_its_dates_in_order(books: Any) -> None:
    assert refused_rules(lambda: certify(books, expires=date(2025, 12, 31))) == {
        ("expires", "certificate_does_not_expire_before_it_was_issued")
    }
    assert refused_rules(lambda: certify(books, issued=books.now.date() + timedelta(days=3))) == {
        ("issued", "certificate_is_not_issued_in_the_future")
    }


def test_a_certificate_is_in_years_that_people_enter(books: Any) -> None:
    assert refused_rules(lambda: certify(books, issued=date(1, 1, 1))) == {
        ("issued", "certificate_is_issued_in_a_year_people_enter")
    }
    assert refused_rules(lambda: certify(books, expires=date(9999, 12, 31))) == {
        ("expires", "certificate_expires_in_a_year_people_enter")
    }


def test_a_certificate_is_recorded_once(books: Any) -> None:
    certify(books)
    assert refused_rules(lambda: certify(books)) == {("number", "certificate_is_recorded_once")}


def test_retraining_answers_the_workers_own_stand_down(books: Any) -> None:
    bar = services.stand_down(
        worker=books.bo, start=books.midnight, reason="Dropped load", recorded_at=books.now, recorded_by=None
    )
    assert refused_rules(
        lambda: services.record_instruction(
            worker=books.ana,
            topic="retraining",
            provider="employer",
            completed_at=books.now,
            after_stand_down=bar,
            recorded_at=books.now,
            recorded_by=None,
        )
    ) == {("worker", "reference_is_to_the_same_worker")}


def test_a_founding_appointment_needs_document_and_name(books: Any) -> None:
    founding = {
        "worker": books.bo,
        "duty": "assessor",
        "kind": "founding",
        "employer": books.employer,
        "start": books.midnight,
        "recorded_at": books.now,
        "recorded_by": None,
    }
    document = services.attach_document(
        name="letter.pdf", media_type="application/pdf", content=b"letter", recorded_at=books.now, recorded_by=None
    )
    assert refused_rules(lambda: services.appoint(**founding, appointed_by="Dee Ford")) == {
        ("document", "founding_appointment_has_an_outside_document")
    }
    assert refused_rules(lambda: services.appoint(**founding, document=document)) == {
        ("appointed_by", "founding_appointment_names_the_responsible_person")
    }
    services.appoint(**founding, document=document, appointed_by="Dee Ford")


@pytest.mark.parametrize("size", [0, services.LARGEST_DOCUMENT + 1])
def test_a_document_has_a_content_of_bearable_size(books: Any, size: int) -> None:
    (problem,) = refused_rules(
        lambda: services.attach_document(
            name="scan.pdf",
            media_type="application/pdf",
            content=bytes(size),
            recorded_at=books.now,
            recorded_by=None,
        )
    )
    assert problem[0] == "content"


# Corrections


def test_a_withdrawn_record_is_gone_and_stays_on_file(books: Any) -> None:
    entry = books.hours()
    services.withdraw(entry, recorded_at=books.now, recorded_by=None)
    assert not HoursEntry.objects.current().exists()
    assert HoursEntry.objects.count() == 2
    assert evidence_for(worker_ids=[books.ana.pk]).known_at(None).hours == ()


def test_a_record_is_corrected_once_and_not_before_it_was_made(books: Any) -> None:
    entry = books.hours()
    services.correct(entry, operation="climbing", recorded_at=books.now, recorded_by=None)
    (problem,) = refused_rules(
        lambda: services.correct(entry, operation="climbing", recorded_at=books.now, recorded_by=None)
    )
    assert problem[0] == "supersedes"
    earlier = books.now - timedelta(minutes=5)
    assert refused_rules(lambda: services.correct(entry, recorded_at=earlier, recorded_by=None)) == {
        ("recorded_at", "correction_is_recorded_after_the_record")
    }


@pytest.mark.parametrize("field", ["id", "supersedes", "recorded_at", "colour"])
def test_a_correction_changes_the_records_own_fields_only(books: Any, field: str) -> None:
    with pytest.raises(TypeError):
        services.correct(books.hours(), **{"recorded_at": books.now, "recorded_by": None, field: 1})


def test_a_corrected_certificate_stays_revoked(books: Any) -> None:
    certificate = certify(books)
    services.change_certification_status(
        certification=certificate,
        status="revoked",
        effective_at=books.now,
        reason="Fraud",
        recorded_at=books.now,
        recorded_by=None,
    )
    services.correct(certificate, issuer="Cedar Board Ltd", recorded_at=books.now, recorded_by=None)
    known = evidence_for(worker_ids=[books.ana.pk]).known_at(None)
    assert [each.status for each in known.statuses_about(known.certifications[0], zone("UTC"))] == ["revoked"]


def test_a_withdrawn_record_is_not_revived(books: Any) -> None:
    withdrawal = services.withdraw(books.hours(), recorded_at=books.now, recorded_by=None)
    with pytest.raises(RecordRefused):
        services.correct(withdrawal, withdrawn=False, recorded_at=books.now, recorded_by=None)


def test_a_corrected_placement_keeps_the_crane(books: Any) -> None:
    common = {"recorded_at": books.now, "recorded_by": None}
    standing = place_crane(crane=books.crane, site=books.site, start=books.midnight, **common)
    with pytest.raises(RecordRefused):
        place_crane(crane=books.foreign_crane, site=books.site, start=books.midnight, supersedes=standing, **common)


def test_hours_have_no_fractions_of_a_second(books: Any) -> None:
    with pytest.raises(RecordRefused):
        books.hours(8, 12 + 0.5 / 3600)


def test_a_correction_is_checked_like_new_hours(books: Any) -> None:
    books.hours(0, 20)
    entry = books.hours(20, 22)
    with pytest.raises(RecordRefused):
        services.correct(
            entry,
            start=books.midnight,
            end=books.midnight + timedelta(hours=24),
            recorded_at=books.now,
            recorded_by=None,
        )


# Versions


def test_every_record_of_a_worker_raises_the_workers_version(books: Any, version_of: Callable[[str], int]) -> None:
    subject = f"worker:{books.ana.pk}"
    common = {"recorded_at": books.now, "recorded_by": None}
    entry = books.hours()
    certificate = certify(books)
    # The two records above are the first two changes.
    acts: list[Callable[[], object]] = [
        lambda: books.sign(entry, books.bo),
        lambda: assess(books),
        lambda: services.change_certification_status(
            certification=certificate, status="suspended", effective_at=books.now, **common
        ),
        lambda: services.record_instruction(
            worker=books.ana, topic="signals", provider="employer", completed_at=books.now, **common
        ),
        lambda: services.appoint(
            worker=books.ana, duty="trainee", employer=books.employer, start=books.midnight, **common
        ),
        lambda: services.stand_down(worker=books.ana, start=books.midnight, reason="Dropped load", **common),
        lambda: employ(worker=books.ana, employer=books.employer, start=date(2026, 1, 1), **common),
        lambda: record_language(worker=books.ana, language="en", **common),
        lambda: services.correct(entry, operation="climbing", **common),
    ]
    assert version_of(subject) == 2
    for count, act in enumerate(acts, start=3):
        act()
        assert version_of(subject) == count
    assert version_of(f"worker:{books.bo.pk}") == 0
    assert version_of(f"worker:{books.cy.pk}") == 0


def test_many_rows_raise_each_workers_version_once(books: Any, version_of: Callable[[str], int]) -> None:
    rows = [books.new_hours(each, each + 1, worker=who) for each in range(5) for who in (books.ana, books.bo)]
    services.record_hours_in_bulk(rows=rows, recorded_at=books.now, recorded_by=None)
    assert version_of(f"worker:{books.ana.pk}") == version_of(f"worker:{books.bo.pk}") == 1


def test_what_is_refused_raises_nothing(books: Any, version_of: Callable[[str], int]) -> None:
    with pytest.raises(RecordRefused):
        books.hours(8, 12, operation="painting")
    assert version_of(f"worker:{books.ana.pk}") == 0
    assert not CertificationStatus.objects.exists()
