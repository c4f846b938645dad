"""What keeps somebody off the crews is not taken back by whoever needs the place filled."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, transaction

from registry.crews.access import NotAllowed
from registry.crews.record_access import record_to_correct
from registry.database.errors import RecordRefused, constraint_of
from registry.evidence import corrections, services
from registry.evidence.models import Assessment, Certification, CertificationStatus, CorrectionRequest, StandDown
from registry.people.models import Account, Worker
from registry.people.services import open_account
from tests.world import World


@pytest.fixture
def world(db: None) -> World:
    return World(datetime.now(UTC).replace(second=0, microsecond=0))


@pytest.fixture
def mira(world: World) -> Worker:
    mira = world.worker("Mira", "Sandoval")
    world.make_erector(mira)
    return mira


@pytest.fixture
def dispatcher(world: World) -> Account:
    return world.dispatcher()


def stood_down(world: World, worker: Worker, by: Account) -> StandDown:
    return services.stand_down(
        worker=worker,
        start=world.now - timedelta(hours=1),
        reason="no harness",
        employer=world.employer,
        recorded_at=world.now,
        recorded_by=by,
    )


def certificate(world: World, worker: Worker, number: str, **given: Any) -> Certification:
    day = (world.now - timedelta(days=300)).date()
    return services.record_certification(
        **{
            "worker": worker,
            "scheme": "tower crane erection",
            "number": number,
            "issuer": "Norrland Board",
            "issued": day,
            "expires": day + timedelta(days=1000),
            "classes": ["hammerhead"],
            "recorded_at": world.now,
            "recorded_by": None,
            **given,
        }
    )


@pytest.fixture
def registrar(world: World) -> Account:
    return world.registrar()


def status(
    world: World,
    held: Certification,
    said: str,
    *,
    at: Any = None,
    by: Account | None = None,
    reason: str = "the board's letter",
) -> Any:
    return services.change_certification_status(
        certification=held,
        status=said,
        effective_at=at or world.now,
        reason=reason,
        recorded_at=world.now,
        recorded_by=by,
    )


def test_a_dispatcher_neither_withdraws_nor_changes_a_stand_down(
    world: World, mira: Worker, dispatcher: Account
) -> None:
    barred = stood_down(world, mira, dispatcher)
    with pytest.raises(NotAllowed, match="the registrar takes it back"):
        record_to_correct(dispatcher, "standdown", barred.pk, at=world.now)
    given: dict[str, Any] = {
        "record": barred,
        "reason": "needed at six",
        "employer": world.employer,
        "recorded_at": world.now,
        "recorded_by": dispatcher,
    }
    with pytest.raises(RecordRefused, match="the registrar takes it back"):
        corrections.withdraw_with_reason(**given)
    with pytest.raises(RecordRefused, match="the registrar takes it back"):
        corrections.correct_with_reason(changes={"start": world.now + timedelta(days=90)}, **given)
    with pytest.raises(DatabaseError) as refused, transaction.atomic():
        StandDown.objects.create(
            worker=mira,
            start=barred.start,
            reason="",
            supersedes=barred,
            withdrawn=True,
            recorded_at=world.now,
            recorded_by=dispatcher,
        )
    assert constraint_of(refused.value) == "only_the_registrar_takes_back_a_bar"
    assert list(StandDown.objects.current()) == [barred]


def test_a_dispatcher_takes_back_neither_a_suspension_nor_what_ended_it(
    world: World, mira: Worker, dispatcher: Account, registrar: Account
) -> None:
    held = Certification.objects.get(worker=mira)
    suspended = status(world, held, "suspended", at=world.now - timedelta(days=3), by=dispatcher)
    reinstated = status(world, held, "reinstated", at=world.now - timedelta(days=1), by=registrar)
    given: dict[str, Any] = {"employer": world.employer, "recorded_at": world.now}
    for each in (suspended, reinstated):
        with pytest.raises(RecordRefused, match="the registrar takes it back"):
            corrections.withdraw_with_reason(record=each, reason="needed at six", recorded_by=dispatcher, **given)
    corrections.withdraw_with_reason(record=reinstated, reason="was another card", recorded_by=registrar, **given)
    assert list(CertificationStatus.objects.current()) == [suspended]


def test_the_registrar_takes_back_what_should_never_have_been_recorded(
    world: World, mira: Worker, dispatcher: Account, registrar: Account
) -> None:
    barred = stood_down(world, mira, dispatcher)
    said = StringIO()
    named = {"registrar": registrar.username}
    for somebody in (dispatcher.username, "nobody"):
        with pytest.raises(CommandError, match="Only a registrar does this"):
            call_command("take_back", "stand-down", str(barred.pk), because="x", registrar=somebody)
    call_command("take_back", "stand-down", str(barred.pk), because="It was another person", stdout=said, **named)
    assert f"stand-down {barred.pk} of Mira Sandoval is taken back." in said.getvalue()
    assert not StandDown.objects.current().exists()
    assert CorrectionRequest.objects.get().what_is_wrong == "It was another person"
    with pytest.raises(CommandError, match="taken back already"):
        call_command("take_back", "stand-down", str(barred.pk), because="again", **named)
    with pytest.raises(CommandError, match="There is no stand-down 0"):
        call_command("take_back", "stand-down", "0", because="nothing", **named)
    another = stood_down(world, mira, dispatcher)
    with pytest.raises(CommandError, match="Say why"):
        call_command("take_back", "stand-down", str(another.pk), because=" ", **named)


@pytest.mark.parametrize("spelt", ["E-77a", "e 77 A", "E77A."])
def test_a_revoked_certificate_does_not_come_back_under_its_number(world: World, mira: Worker, spelt: str) -> None:
    taken_out = world.now - timedelta(days=3)
    status(world, certificate(world, mira, "E-77a"), "revoked", at=taken_out)
    earlier = (world.now - timedelta(days=299)).date()
    for issued in (earlier, taken_out.date()):
        for scheme in ("tower crane erection", "Tower-Crane ERECTION", "another scheme of the same board"):
            with pytest.raises(RecordRefused, match="suspended or revoked"):
                certificate(world, mira, spelt, scheme=scheme, issued=issued)
    later: dict[str, Any] = {"issued": (taken_out + timedelta(days=2)).date(), "expires": None}
    with pytest.raises(RecordRefused, match="needs its paper"):
        certificate(world, mira, spelt, **later)
    with pytest.raises(RecordRefused, match="needs its paper"):
        certificate(world, mira, "another number", **later)
    assert certificate(world, mira, spelt, document=world.scan, **later).pk
    assert certificate(world, world.worker("Rafe", "Osei"), spelt, issued=earlier).pk


def test_a_revoked_certificate_does_not_come_back_by_correcting_another(world: World, mira: Worker) -> None:
    held = certificate(world, mira, "E-77")
    status(world, held, "revoked", at=world.now - timedelta(days=2))
    renewed = certificate(world, mira, "E-77", issued=world.now.date(), expires=None, document=world.scan)
    recording: dict[str, Any] = {"recorded_at": world.now, "recorded_by": None}
    with pytest.raises(RecordRefused, match="suspended or revoked"):
        services.correct(renewed, issued=held.issued, **recording)
    services.correct(held, number="ZZ-1", **recording)
    for number in ("E-77", "zz1"):
        with pytest.raises(RecordRefused, match="suspended or revoked"):
            certificate(world, mira, number, issued=held.issued)
    assert services.withdraw(renewed, **recording).withdrawn


def test_a_reinstatement_lifts_from_its_own_day_on(world: World, mira: Worker, registrar: Account) -> None:
    held = certificate(world, mira, "E-77")
    status(world, held, "suspended", at=world.now - timedelta(days=3))
    status(world, held, "reinstated", at=world.now + timedelta(days=3000), by=registrar)
    with pytest.raises(RecordRefused, match="suspended or revoked"):
        certificate(world, mira, "e 77", issued=held.issued + timedelta(days=1))


def test_a_certificate_is_recorded_once_however_it_is_spelt(world: World, mira: Worker) -> None:
    certificate(world, mira, "E-77")
    with pytest.raises(RecordRefused, match="recorded already"):
        certificate(world, mira, "e77.")


def test_a_reinstated_certificate_is_corrected_and_a_revoked_one_keeps_its_revocation(
    world: World, mira: Worker, registrar: Account
) -> None:
    held = certificate(world, mira, "E-78")
    status(world, held, "suspended", at=world.now - timedelta(days=3))
    with pytest.raises(RecordRefused, match="suspended or revoked"):
        certificate(world, mira, "E 78", issued=held.issued + timedelta(days=1))
    status(world, held, "reinstated", by=registrar)
    assert certificate(world, mira, "E 78", issued=held.issued + timedelta(days=1)).pk
    status(world, held, "revoked")
    corrected = services.correct(held, issuer="Sorrland Board", recorded_at=world.now, recorded_by=None)
    assert corrected.supersedes == held


def test_an_assessor_whose_appointment_ended_changes_no_judgement(world: World, mira: Worker) -> None:
    given = world.assess(mira, "erector", outcome="not_yet_competent", at=world.now - timedelta(hours=2))
    account = open_account(username="petra", password=None, kind="worker", worker=world.assessor)
    assert record_to_correct(account, "assessment", given.pk, at=world.now) == given
    act = world.assessor.appointment_records.get()
    services.correct(act, end=world.now - timedelta(hours=1), recorded_at=world.now, recorded_by=None)
    with pytest.raises(NotAllowed, match="You no longer assess for"):
        record_to_correct(account, "assessment", given.pk, at=world.now)
    with pytest.raises(RecordRefused, match="You no longer assess for"):
        corrections.correct_with_reason(
            record=given,
            changes={"outcome": "pass"},
            reason="looked again",
            employer=world.employer,
            recorded_at=world.now,
            recorded_by=account,
        )
    assert Assessment.objects.current().get(pk=given.pk).outcome == "not_yet_competent"
