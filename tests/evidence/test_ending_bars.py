"""What tells against a person is ended by what its source says or by the registrar: every other way is tried here.

By the services, as pages and imports call them, and by raw SQL as the application's role.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction

from registry.database.errors import RecordRefused, constraint_of
from registry.evidence import corrections, services
from registry.evidence.importing import ImportOptions, import_file
from registry.evidence.models import Assessment, Certification, Document, Instruction, StandDown
from registry.people.closing import close_account
from registry.people.models import Account, Worker
from tests.world import OPERATIONS, World

BOARD = "Norrland Board"
SETBACK = "not_yet_competent"


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


@pytest.fixture
def registrar(world: World) -> Account:
    return world.registrar()


def paper(world: World, name: str = "board.pdf") -> Document:
    return services.attach_document(
        name=name, media_type="application/pdf", content=name.encode(), recorded_at=world.now, recorded_by=None
    )


def assessed(world: World, worker: Worker, outcome: str, *, days_ago: float, **given: Any) -> Assessment:
    """By a third party, on its paper, unless ``given`` says otherwise."""
    return services.record_assessment(
        **{
            "worker": worker,
            "role": "erector",
            "model": world.model,
            "operations": OPERATIONS,
            "assessed_at": world.now - timedelta(days=days_ago),
            "outcome": outcome,
            "assessor": world.assessor,
            "third_party": BOARD,
            "recorded_at": world.now,
            "recorded_by": None,
            **given,
        }
    )


def rules_of(act: Callable[[], object]) -> set[str]:
    with pytest.raises(RecordRefused) as refused, transaction.atomic():
        act()
    return {each.rule for each in refused.value.problems}


def by_hand(record: Any, **columns: Any) -> str | None:
    """The rule that refuses a copy of the row with other ``columns``, written past everything but the database."""
    fields = [each.attname for each in record._meta.concrete_fields if each.name != "id"]
    changed = {each: getattr(record, each) for each in fields} | columns

    @transaction.atomic
    def insert() -> None:
        type(record).objects.bulk_create([type(record)(**changed)])
        with connection.cursor() as cursor:
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")

    with pytest.raises(DatabaseError) as refused:
        insert()
    return constraint_of(refused.value)


def withdrawn_by_hand(record: Any, by: Account | None) -> str | None:
    given = {"supersedes_id": record.pk, "withdrawn": True, "recorded_by_id": None if by is None else by.pk}
    return by_hand(record, **given)


# A third party's "not yet competent"


@pytest.mark.parametrize(
    "changes",
    [
        {"outcome": "pass"},
        {"role": "rigger"},
        {"operations": ["climbing"]},
        {"third_party": "Another Board"},
        {"configuration": "internal climbing"},
        {"assessed_at": -400},
    ],
    ids=lambda each: next(iter(each)),
)
def test_an_employer_weakens_no_third_partys_setback(
    world: World, mira: Worker, dispatcher: Account, changes: dict[str, Any]
) -> None:
    setback = assessed(world, mira, SETBACK, days_ago=2, recorded_by=dispatcher, document=paper(world))
    if "assessed_at" in changes:
        changes = {"assessed_at": world.now + timedelta(days=changes["assessed_at"])}
    given: dict[str, Any] = {"employer": world.employer, "recorded_at": world.now, "recorded_by": dispatcher}
    rule = "only_the_registrar_corrects_a_third_partys_setback"
    correct = lambda: corrections.correct_with_reason(record=setback, changes=changes, reason="typing error", **given)  # noqa: E731
    assert rules_of(correct) == {rule}
    assert by_hand(setback, supersedes_id=setback.pk, **changes) == rule
    assert rules_of(lambda: corrections.withdraw_with_reason(record=setback, reason="typing error", **given)) == {rule}
    for somebody in (dispatcher, None, world.assessors_account()):
        assert withdrawn_by_hand(setback, somebody) == rule
    assert Assessment.objects.current().get(pk=setback.pk).outcome == SETBACK


def test_the_registrar_corrects_and_takes_back_with_a_reason(world: World, mira: Worker, registrar: Account) -> None:
    setback = assessed(world, mira, SETBACK, days_ago=2, document=paper(world))
    given: dict[str, Any] = {"employer": None, "recorded_at": world.now, "recorded_by": registrar}
    rule = "the_end_of_a_bar_gives_its_reason"
    assert rules_of(lambda: corrections.withdraw_with_reason(record=setback, reason=" ", **given)) == {rule}
    assert withdrawn_by_hand(setback, registrar) == rule
    corrected = corrections.correct_with_reason(
        record=setback, changes={"role": "rigger"}, reason="The board wrote", **given
    )
    corrections.withdraw_with_reason(record=corrected, reason="The board wrote again", **given)
    assert not Assessment.objects.current().filter(worker=mira, third_party=BOARD).exists()


def test_a_registrar_whose_account_is_closed_ends_nothing(world: World, mira: Worker, registrar: Account) -> None:
    gone = Account.objects.create_user(username="gone", kind="registrar")
    close_account(account=gone, closed_at=world.now, closed_by=registrar, reason="Has left")
    setback = assessed(world, mira, SETBACK, days_ago=2)
    assert withdrawn_by_hand(setback, gone) == "only_the_registrar_corrects_a_third_partys_setback"


@pytest.mark.parametrize("source", ["another body", "the same body without paper", "with the setback's paper", "own"])
def test_another_sources_pass_ends_no_third_partys_setback(
    world: World, mira: Worker, dispatcher: Account, registrar: Account, source: str
) -> None:
    first = paper(world)
    assessed(world, mira, SETBACK, days_ago=2, document=first)
    ways: dict[str, dict[str, Any]] = {
        "another body": {"third_party": "Another Board", "document": paper(world, "another.pdf")},
        "the same body without paper": {},
        "with the setback's paper": {"document": first},
        "own": {"third_party": "", "employer": world.employer, "recorded_by": world.assessors_account()},
    }
    given = {"recorded_by": dispatcher} | ways[source]
    rule = "a_pass_after_a_setback_comes_from_its_source"
    assert rules_of(lambda: assessed(world, mira, "pass", days_ago=1, **given)) == {rule}
    # What was assessed before the setback ends nothing, and is recorded.
    before = assessed(world, mira, "pass", days_ago=3, **given)
    assert rules_of(
        lambda: services.correct(before, assessed_at=world.now, recorded_at=world.now, recorded_by=given["recorded_by"])
    ) == {"a_pass_after_a_bar_is_a_new_assessment"}
    assert by_hand(before, assessed_at=world.now) == rule
    if source == "the same body without paper":
        unpapered = rules_of(partial(assessed, world, mira, "pass", days_ago=1, **given | {"recorded_by": registrar}))
        assert unpapered == {"a_pass_after_a_setback_has_its_paper"}
        given["document"] = paper(world, "later.pdf")
    if source != "own":
        assert assessed(world, mira, "pass", days_ago=1, **given | {"recorded_by": registrar}).pk


def test_the_same_third_partys_later_paper_ends_its_setback_and_is_shown_to_the_registrar(
    world: World, mira: Worker, dispatcher: Account
) -> None:
    assessed(world, mira, SETBACK, days_ago=2, document=paper(world))
    given: dict[str, Any] = {"third_party": "norrland  BOARD", "document": paper(world, "later.pdf")}
    passed = assessed(world, mira, "pass", days_ago=1, recorded_by=dispatcher, **given)
    assert list(corrections.ended_on_paper()) == [passed]


def test_a_setback_on_another_class_of_crane_stands_in_nobodys_way(world: World, mira: Worker) -> None:
    assessed(world, mira, SETBACK, days_ago=2, operations=["climbing"])
    assert assessed(world, mira, "pass", days_ago=1, operations=["dismantling"], third_party="Another Board").pk
    assert assessed(world, mira, "pass", days_ago=1, role="rigger", third_party="Another Board").pk


def test_an_imported_pass_ends_no_setback(world: World, mira: Worker, dispatcher: Account) -> None:
    assessed(world, mira, SETBACK, days_ago=2, document=paper(world))
    on = (world.now - timedelta(days=1)).date().isoformat()
    who, by = mira.number, world.assessor.number
    line = f"{who},Brandvold BT-180,erector,dismantling,{on},08:00,pass,{by},Other Board"
    table = f"worker,model,role,operations,date,time,outcome,assessor,third party\n{line}\n"
    report = import_file(
        "assessments",
        io.BytesIO(table.encode()),
        employer=world.employer,
        recorded_at=world.now,
        recorded_by=dispatcher,
        options=ImportOptions(time_zone="UTC", ignore_unknown_columns=True),
        name="a.csv",
    )
    assert [each.rule for each in report.problems] == ["a_pass_after_a_setback_comes_from_its_source"]
    assert not Assessment.objects.filter(third_party="Other Board").exists()


# An employer's own


def test_an_own_setback_is_its_assessors_and_never_becomes_a_pass(
    world: World, mira: Worker, dispatcher: Account, registrar: Account
) -> None:
    account = world.assessors_account()
    setback = world.assess(mira, "erector", outcome=SETBACK, at=world.now - timedelta(days=1))
    given: dict[str, Any] = {"employer": world.employer, "recorded_at": world.now}
    for somebody in (account, registrar):
        for changes in ({"outcome": "pass"}, {"third_party": BOARD, "employer": None}, {"assessor": mira}):
            correct = lambda by=somebody, to=changes: corrections.correct_with_reason(  # noqa: E731
                record=setback, changes=to, reason="looked again", recorded_by=by, **given
            )
            assert rules_of(correct) & {"a_setback_is_not_turned_into_a_pass", "nobody_assesses_themself"}
    for stranger in (dispatcher, None):
        assert withdrawn_by_hand(setback, stranger) == "a_setback_is_changed_by_its_assessor"
    withdraw = lambda reason: corrections.withdraw_with_reason(  # noqa: E731
        record=setback, reason=reason, recorded_by=account, **given
    )
    assert rules_of(lambda: withdraw("")) == {"the_end_of_a_bar_gives_its_reason"}
    withdraw("It was another person")


def test_the_registrar_takes_back_an_own_setback_whose_assessor_is_gone(
    world: World, mira: Worker, registrar: Account
) -> None:
    world.assessors_account()
    setback = world.assess(mira, "erector", outcome=SETBACK, at=world.now - timedelta(days=1))
    assert withdrawn_by_hand(setback, registrar) == "the_end_of_a_bar_gives_its_reason"
    corrections.withdraw_with_reason(
        record=setback, reason="Another Mira", employer=None, recorded_at=world.now, recorded_by=registrar
    )
    assert list(Assessment.objects.current().filter(worker=mira).values_list("outcome", flat=True)) == ["pass"]
    passed = Assessment.objects.current().get(worker=mira)
    assert withdrawn_by_hand(passed, registrar) == "assessor_records_with_their_own_account"


def test_after_an_own_setback_only_an_assessors_own_account_passes(
    world: World, mira: Worker, dispatcher: Account
) -> None:
    world.assess(mira, "erector", outcome=SETBACK, at=world.now - timedelta(days=2))
    rule = "a_pass_after_a_setback_comes_from_its_source"
    on_paper: dict[str, Any] = {"document": paper(world), "recorded_by": dispatcher}
    assert rules_of(lambda: assessed(world, mira, "pass", days_ago=1, **on_paper)) == {rule}
    own: dict[str, Any] = {"third_party": "", "employer": world.employer}
    for somebody in (dispatcher, None):
        refused = rules_of(partial(assessed, world, mira, "pass", days_ago=1, recorded_by=somebody, **own))
        assert refused <= {rule, "assessor_records_with_their_own_account"}
    assert assessed(world, mira, "pass", days_ago=1, recorded_by=world.assessors_account(), **own).pk


def test_an_assessor_moves_no_old_pass_behind_a_bar(world: World, mira: Worker) -> None:
    account = world.assessors_account()
    passed = mira.assessment_records.get()
    move = lambda: services.correct(passed, assessed_at=world.now, recorded_at=world.now, recorded_by=account)  # noqa: E731
    bar = services.stand_down(
        worker=mira, start=world.now - timedelta(days=1), reason="x", recorded_at=world.now, recorded_by=None
    )
    assert rules_of(move) == {"a_pass_after_a_bar_is_a_new_assessment"}
    assert bar.pk


# What becomes of a certificate


def test_nobody_but_the_registrar_reinstates(
    world: World, mira: Worker, dispatcher: Account, registrar: Account
) -> None:
    held = Certification.objects.get(worker=mira)
    change = lambda said, by, **more: services.change_certification_status(  # noqa: E731
        certification=held, status=said, effective_at=world.now, recorded_at=world.now, recorded_by=by, **more
    )
    suspended = change("suspended", dispatcher)
    worker = Account.objects.create_user(username="mira", kind="worker", worker=mira)
    for somebody in (dispatcher, None, worker):
        assert rules_of(partial(change, "reinstated", somebody, reason="x")) == {"only_the_registrar_reinstates"}
    assert by_hand(suspended, status="reinstated", reason="x") == "only_the_registrar_reinstates"
    assert rules_of(lambda: change("reinstated", registrar, reason=" ")) == {"a_reinstatement_gives_its_reason"}
    assert change("reinstated", registrar, reason="The board's letter", document=paper(world)).document_id


def test_a_status_is_moved_to_no_other_certificate_or_day(world: World, mira: Worker, dispatcher: Account) -> None:
    held = Certification.objects.get(worker=mira)
    other = services.record_certification(
        worker=mira,
        scheme="rigging",
        number="R-1",
        issuer="Another Board",
        issued=held.issued,
        recorded_at=world.now,
        recorded_by=None,
    )
    suspended = services.change_certification_status(
        certification=held, status="suspended", effective_at=world.now, recorded_at=world.now, recorded_by=dispatcher
    )
    rule = "only_the_registrar_takes_back_a_bar"
    for changes in ({"certification_id": other.pk}, {"effective_at": world.now + timedelta(days=900)}):
        assert by_hand(suspended, supersedes_id=suspended.pk, **changes) == rule
    assert withdrawn_by_hand(suspended, None) == rule


# Stand-downs


def test_a_stand_down_is_taken_back_in_a_registrars_name(
    world: World, mira: Worker, dispatcher: Account, registrar: Account
) -> None:
    bar = services.stand_down(
        worker=mira, start=world.now - timedelta(days=1), reason="x", recorded_at=world.now, recorded_by=None
    )
    for somebody in (None, dispatcher):
        assert withdrawn_by_hand(bar, somebody) == "only_the_registrar_takes_back_a_bar"
    assert withdrawn_by_hand(bar, registrar) == "the_end_of_a_bar_gives_its_reason"
    corrections.withdraw_with_reason(
        record=bar, reason="Another person", employer=None, recorded_at=world.now, recorded_by=registrar
    )
    assert not StandDown.objects.current().exists()


def test_retraining_has_its_paper_and_its_day_and_stays_with_its_stand_down(
    world: World, mira: Worker, dispatcher: Account, registrar: Account
) -> None:
    bars = [
        services.stand_down(
            worker=mira, start=world.now - timedelta(days=days), reason="x", recorded_at=world.now, recorded_by=None
        )
        for days in (9, 5)
    ]
    teach = lambda **given: services.record_instruction(  # noqa: E731
        **{
            "worker": mira,
            "topic": "retraining",
            "provider": "employer",
            "completed_at": world.now - timedelta(days=2),
            "after_stand_down": bars[0],
            "document": paper(world),
            "recorded_at": world.now,
            "recorded_by": dispatcher,
            **given,
        }
    )
    assert rules_of(lambda: teach(document=None)) == {"retraining_has_its_paper"}
    too_early = {"completed_at": world.now - timedelta(days=6), "after_stand_down": bars[1]}
    assert rules_of(lambda: teach(**too_early)) == {"retraining_follows_its_stand_down"}
    course, retraining = teach(after_stand_down=None), teach()
    given: dict[str, Any] = {"employer": world.employer, "recorded_at": world.now, "recorded_by": dispatcher}
    rule = "only_the_registrar_corrects_retraining"
    for record, changes in (
        (retraining, {"after_stand_down": bars[1]}),
        (retraining, {"completed_at": world.now - timedelta(days=8)}),
        (course, {"after_stand_down": bars[1]}),
    ):
        correct = lambda of=record, to=changes: corrections.correct_with_reason(  # noqa: E731
            record=of, changes=to, reason="x", **given
        )
        assert rules_of(correct) == {rule}
    assert by_hand(retraining, supersedes_id=retraining.pk, after_stand_down_id=bars[1].pk) == rule
    corrections.withdraw_with_reason(
        record=retraining, reason="Nobody came", employer=None, recorded_at=world.now, recorded_by=registrar
    )
    assert list(Instruction.objects.current().filter(topic="retraining")) == [course]


def test_an_ended_appointment_is_not_prolonged(world: World, dispatcher: Account, registrar: Account) -> None:
    act = world.assessor.appointment_records.get()
    ended = services.correct(act, end=world.now - timedelta(days=1), recorded_at=world.now, recorded_by=dispatcher)
    rule = "an_ended_appointment_stays_ended"
    for end in (None, world.now + timedelta(days=300), world.now):
        prolong = lambda until=end: services.correct(  # noqa: E731
            ended, end=until, recorded_at=world.now, recorded_by=dispatcher
        )
        assert rules_of(prolong) == {rule}
    assert by_hand(ended, supersedes_id=ended.pk, end=None, recorded_by_id=None) == rule
    assert services.correct(ended, end=None, recorded_at=world.now, recorded_by=registrar).end is None


# Asking


def test_the_registrar_answers_what_an_employer_asks_and_nobody_else(
    world: World, mira: Worker, dispatcher: Account, registrar: Account
) -> None:
    setback = assessed(world, mira, SETBACK, days_ago=2, recorded_by=dispatcher)
    asked = corrections.request_correction(
        record=setback,
        what_is_wrong="Another person",
        what_it_should_be="",
        recorded_at=world.now,
        recorded_by=dispatcher,
    )
    assert list(corrections.waiting_for_the_registrar()) == [asked]
    assert not corrections.open_requests(world.employer).exists()
    decline = lambda by: corrections.decline_correction(  # noqa: E731
        request=asked, reason="No", recorded_at=world.now, recorded_by=by
    )
    assert rules_of(lambda: decline(dispatcher)) == {"the_registrar_answers_for_a_bar"}
    decline(registrar)
    assert not corrections.waiting_for_the_registrar().exists()
