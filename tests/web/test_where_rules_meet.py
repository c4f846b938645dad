"""Holes where two rules meet, tried by page as somebody would: each was open once."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import Any

import pytest
from django.db import DatabaseError, transaction
from django.test import Client

from registry.crews import standing_down
from registry.database.errors import RecordRefused, constraint_of
from registry.evidence import corrections, services
from registry.evidence.models import Assessment, CorrectionRequest, Instruction, StandDown
from registry.people import lookalikes
from registry.people import services as people
from registry.people.models import Account, Employment, PossibleTwin, SettledTwin, Worker
from registry.people.second_factor import enrol_authenticator_app
from tests.world import OPERATIONS, World

SignedIn = Callable[[Account], Client]


@pytest.fixture
def mira(world: World) -> Worker:
    mira = world.worker("Mira", "Sandoval")
    world.make_erector(mira)
    return mira


def refused(rule: str, act: Callable[[], object]) -> None:
    with pytest.raises((DatabaseError, RecordRefused)) as error, transaction.atomic():
        act()
    if isinstance(error.value, RecordRefused):
        assert rule in [each.rule for each in error.value.problems]
    elif isinstance(error.value, DatabaseError):
        assert constraint_of(error.value) == rule


# A former employer, and forms that are shown again after a POST, which runs as the register


@pytest.fixture
def former(world: World, mira: Worker, signed_in: SignedIn) -> Client:
    """The browser of a firm that employed Mira until a month ago; what follows was recorded since."""
    firm = people.register_employer(name="Cormorant Lift Yard", jurisdiction="US", recorded_at=world.now)
    then = world.now - timedelta(days=700)
    people.employ(
        worker=mira,
        employer=firm,
        start=then.date(),
        end=(world.now - timedelta(days=30)).date(),
        recorded_at=then,
        recorded_by=None,
    )
    late: dict[str, Any] = {"recorded_at": world.now - timedelta(days=5), "recorded_by": None}
    services.record_certification(
        worker=mira,
        scheme="rigging",
        number="R-7788",
        issuer="Norrland Board",
        issued=late["recorded_at"].date(),
        **late,
    )
    services.stand_down(worker=mira, start=late["recorded_at"], reason="Walked under the hook", **late)
    return signed_in(people.open_account(username="former", password=None, kind="employer", employer=firm))


@pytest.mark.parametrize("what", ["certificate-status", "instruction"])
def test_a_refused_form_shows_a_former_employer_nothing_recorded_since(mira: Worker, former: Client, what: str) -> None:
    barred = StandDown.objects.get()
    again = former.post(f"/records/people/{mira.pk}/add/{what}/", {})
    assert again.status_code == 422
    shown = again.content.decode()
    assert "R-7788" not in shown
    assert f'<option value="{barred.pk}">{barred}' not in shown


def test_a_former_employer_asks_nothing_about_a_stand_down_it_does_not_read(mira: Worker, former: Client) -> None:
    path = f"/records/standdown/{StandDown.objects.get().pk}/ask/"
    for answer in (former.get(path), former.post(path, {}), former.post(path, {"what_is_wrong": "Tell me"})):
        assert answer.status_code == 403
        assert "Walked under the hook" not in answer.content.decode()
    assert not CorrectionRequest.objects.exists()


# A request, and what answers it


def test_a_request_is_not_answered_by_correcting_another_record(
    world: World, mira: Worker, dispatcher: Client, as_worker: Callable[[Worker], Client]
) -> None:
    account = Account.objects.get(username="dispatcher")
    one, other = (
        services.record_instruction(
            worker=mira,
            topic=topic,
            provider="employer",
            completed_at=world.now - timedelta(days=3),
            recorded_at=world.now,
            recorded_by=account,
        )
        for topic in ("first aid", "work at height")
    )
    assert as_worker(mira).post(f"/records/instruction/{one.pk}/ask/", {"what_is_wrong": "The day"}).status_code == 302
    asked = CorrectionRequest.objects.get()
    path = f"/records/instruction/{other.pk}/withdraw/?request={asked.pk}"
    answer = dispatcher.post(path, {"because": "Done.", "request": asked.pk})
    assert answer.status_code == 422
    assert "The request is about another record." in answer.content.decode()
    assert Instruction.objects.current().filter(pk=other.pk).exists()
    # A later version of the record that was asked about does answer.
    given: dict[str, Any] = {"recorded_at": world.now, "recorded_by": account}
    later = services.correct(one, topic="first aid course", **given)
    corrections.withdraw_with_reason(record=later, reason="Never held.", request=asked, **given)
    assert CorrectionRequest.objects.get().answer.outcome == "withdrawn"


# The registrar, and rules about who signs


def test_the_registrar_takes_back_an_employers_own_setback(world: World, mira: Worker, signed_in: SignedIn) -> None:
    assessor = world.assessors_account()
    enrol_authenticator_app(account=assessor, secret="INVENTEDFORTESTS")
    setback = world.assess(mira, "erector", outcome="not_yet_competent", at=world.now - timedelta(days=2))
    registrar = signed_in(world.registrar())
    path = f"/records/assessment/{setback.pk}/withdraw/"
    assert registrar.post(path, {"because": "Two people were mixed up."}).status_code == 302
    assert not Assessment.objects.current().filter(pk=setback.pk).exists()


def test_the_registrar_gives_no_assessment_of_an_employers_without_its_paper(world: World, mira: Worker) -> None:
    given: dict[str, Any] = {
        "worker": mira,
        "role": "erector",
        "model": world.model,
        "operations": OPERATIONS,
        "assessed_at": world.now - timedelta(days=1),
        "outcome": "pass",
        "assessor": world.assessor,
        "employer": world.employer,
        "recorded_at": world.now,
        "recorded_by": world.registrar(),
    }
    refused("assessor_records_with_their_own_account", lambda: services.record_assessment(**given))
    assert services.record_assessment(document=world.scan, **given).pk


def test_an_assessor_of_two_firms_assesses_for_the_one_that_has_the_person(
    world: World, mira: Worker, signed_in: SignedIn
) -> None:
    """The first by name employed her once."""
    before = people.register_employer(name="Aalders Cranes", jurisdiction="US", recorded_at=world.now)
    past = world.now - timedelta(days=800)
    people.employ(worker=mira, employer=before, start=past.date(), end=past.date(), recorded_at=past, recorded_by=None)
    services.appoint(
        worker=world.assessor,
        duty="assessor",
        employer=before,
        start=past,
        recorded_at=past,
        recorded_by=None,
    )
    shown = signed_in(world.assessors_account()).get(f"/records/assessments/{mira.pk}/").content.decode()
    assert world.employer.name in shown
    assert before.name not in shown


def test_a_suspension_that_is_over_is_not_made_longer_by_ending_it(
    world: World, mira: Worker, signed_in: SignedIn
) -> None:
    account = world.registrar()
    by: dict[str, Any] = {"recorded_at": world.now, "recorded_by": account}
    barred = services.stand_down(worker=mira, start=world.now - timedelta(days=9), reason="Unsafe", **by)
    over = standing_down.suspend(
        stand_down=barred,
        start=world.now - timedelta(days=5),
        end=world.now - timedelta(days=4),
        reason="Looked into",
        **by,
    )
    answer = signed_in(account).post(f"/register/suspensions/{over.pk}/end/")
    assert answer.status_code == 409
    assert "over already" in answer.content.decode()
    assert not type(over).objects.filter(supersedes=over).exists()


# Leaving: an employer that never records the last day would read on for ever


@pytest.fixture
def on_books(world: World, mira: Worker) -> Employment:
    return Employment.objects.current().get(worker=mira)


def test_a_person_leaves_without_anybodys_leave(
    world: World, mira: Worker, on_books: Employment, dispatcher: Client, as_worker: Callable[[Worker], Client]
) -> None:
    (slot,) = world.job(["erector"]).slots.all()
    assert world.assign(slot, mira).permitted
    own = as_worker(mira)
    path = f"/own/employments/{on_books.pk}/leave/"
    assert path in own.get("/own/employers/").content.decode()
    assert own.post(path, {"last_day": f"{world.now:%Y-%m-%d}"}).status_code == 302
    ended = Employment.objects.current().get(worker=mira)
    assert (ended.end, ended.recorded_by) == (world.now.date(), Account.objects.get(worker=mira))
    assert slot.assignments.get().state.standing == "held"
    # Nor does the employer take it back.
    rule = "a_registered_person_is_taken_on_with_consent"
    account = Account.objects.get(username="dispatcher")
    refused(rule, lambda: services.correct(ended, end=None, recorded_at=datetime.now(UTC), recorded_by=account))


def test_a_person_does_not_leave_backwards_or_for_somebody_else(
    world: World, mira: Worker, on_books: Employment, as_worker: Callable[[Worker], Client]
) -> None:
    own = as_worker(mira)
    path = f"/own/employments/{on_books.pk}/leave/"
    for day in (f"{world.now - timedelta(days=9):%Y-%m-%d}", ""):
        assert own.post(path, {"last_day": day}).status_code == 422
    account = Account.objects.get(worker=mira)
    by: dict[str, Any] = {"recorded_at": world.now, "recorded_by": account}
    rule = "a_person_leaves_from_now_on"
    refused(rule, lambda: services.withdraw(on_books, **by))
    refused(rule, lambda: services.correct(on_books, end=(world.now - timedelta(days=9)).date(), **by))
    another = world.worker("Ola", "Nilsrud")
    theirs = Employment.objects.current().get(worker=another)
    assert own.get(f"/own/employments/{theirs.pk}/leave/").status_code == 404
    refused("an_act_names_an_account_that_may_do_it", lambda: services.correct(theirs, end=world.now.date(), **by))
    assert Employment.objects.current().filter(pk__in=[on_books.pk, theirs.pk]).count() == 2


# Two who look alike


@pytest.fixture
def twin(world: World, mira: Worker) -> PossibleTwin:
    people.register_worker(
        given_name="Mira",
        family_name="Sandowal",
        date_of_birth=mira.date_of_birth,
        recorded_at=world.now,
        recorded_by=None,
    )
    return PossibleTwin.objects.get()


def test_the_registrar_settles_a_possible_twin_once_with_a_reason(
    world: World, twin: PossibleTwin, signed_in: SignedIn, inspector: Client
) -> None:
    registrar = signed_in(world.registrar())
    path = f"/register/possible-twins/{twin.pk}/"
    assert path in registrar.get("/inspection/possible-twins/").content.decode()
    assert "checked" not in registrar.get(path).content.decode()
    for lacking in ({"found": "two_people"}, {"reason": "Passports compared"}, {"found": "x", "reason": "y"}):
        assert registrar.post(path, lacking).status_code == 422
    assert registrar.post(path, {"found": "two_people", "reason": "Passports compared"}).status_code == 302
    assert registrar.get(path).status_code == 404
    for somebody in (registrar, inspector):
        assert "Passports compared" in somebody.get("/inspection/possible-twins/").content.decode()


def test_nobody_else_settles_one(world: World, twin: PossibleTwin, dispatcher: Client, inspector: Client) -> None:
    path = f"/register/possible-twins/{twin.pk}/"
    settled: dict[str, Any] = {"found": "two_people", "reason": "mine", "recorded_at": world.now}
    for client in (dispatcher, inspector):
        assert client.get(path).status_code == 403
        assert client.post(path, {"found": "two_people", "reason": "mine"}).status_code == 403
    for account in Account.objects.exclude(kind="registrar"):
        refused(
            "an_act_of_the_registrar_names_the_registrar",
            partial(lookalikes.settle_twin, twin=twin, recorded_by=account, **settled),
        )
        refused(
            "an_act_names_an_account_that_may_do_it",
            partial(SettledTwin.objects.create, twin=twin, recorded_by=account, **settled),
        )
    assert not SettledTwin.objects.exists()


def test_what_was_settled_stays(world: World, twin: PossibleTwin) -> None:
    by: dict[str, Any] = {"recorded_at": world.now, "recorded_by": world.registrar()}
    settled = lookalikes.settle_twin(twin=twin, found="one_person", reason="Same driving licence", **by)
    refused(
        "people_settledtwin_twin_id_key",
        lambda: lookalikes.settle_twin(twin=twin, found="two_people", reason="No", **by),
    )
    for change in (
        lambda: SettledTwin.objects.filter(pk=settled.pk).update(found="two_people"),
        lambda: SettledTwin.objects.filter(pk=settled.pk).delete(),
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            change()


# Nothing that decides is chosen beforehand


@pytest.mark.parametrize(
    ("path", "fields"),
    [
        ("/records/people/{worker}/add/instruction/", ["provider"]),
        ("/records/people/{worker}/add/appointment/", ["kind"]),
        ("/records/people/{worker}/add/certificate-status/", ["status"]),
        ("/records/people/{worker}/add/third-party-assessment/", ["role", "outcome"]),
        ("/records/hours/", ["operation", "capacity"]),
        ("/jobs/plan/", ["operation", "standard_key"]),
    ],
)
def test_what_decides_is_chosen_by_a_person(mira: Worker, dispatcher: Client, path: str, fields: list[str]) -> None:
    form = dispatcher.get(path.format(worker=mira.pk)).context["form"]
    for name in fields:
        choices = form.fields[name].choices
        assert form[name].value() in (None, "")
        assert next(iter(choices))[0] == "", name


# What an employer may not do in its own name, by raw SQL


@pytest.fixture
def rival(world: World) -> Account:
    firm = people.register_employer(name="Cormorant Lift Yard", jurisdiction="US", recorded_at=world.now)
    return people.open_account(username="rival", password=None, kind="employer", employer=firm)


def test_a_rival_corrects_no_record_that_another_employer_answers_for(
    world: World, mira: Worker, rival: Account
) -> None:
    """It takes somebody's hours, certificate or employment over into its own name, and they count no more."""
    account = world.dispatcher()
    by: dict[str, Any] = {"recorded_at": world.now, "recorded_by": account}
    certificate = services.record_certification(
        worker=mira, scheme="rigging", number="R-1", issuer="Norrland Board", issued=world.now.date(), **by
    )
    taken: dict[str, Any] = {"recorded_at": world.now, "recorded_by": rival}
    records: tuple[Any, ...] = (mira.hoursentry_records.first(), certificate)
    for record in (*records, Employment.objects.current().get(worker=mira)):
        own = {} if record == certificate else {"employer": rival.employer}
        for changes in (own, {"withdrawn": True, **own}):
            refused(
                "an_employer_corrects_its_own_records",
                partial(services.correct, record, **changes, **taken),
            )
    services.withdraw(certificate, **by)


def test_the_registrars_pass_ends_a_setback_on_paper(world: World, mira: Worker) -> None:
    registrar = world.registrar()
    given: dict[str, Any] = {
        "worker": mira,
        "role": "erector",
        "model": world.model,
        "operations": OPERATIONS,
        "assessor": world.assessor,
        "third_party": "Norrland Board",
        "recorded_at": world.now,
        "recorded_by": registrar,
    }
    then = world.now - timedelta(days=2)
    services.record_assessment(outcome="not_yet_competent", assessed_at=then, **given)
    passes = {"outcome": "pass", "assessed_at": world.now - timedelta(days=1), **given}
    refused("a_pass_after_a_setback_has_its_paper", lambda: services.record_assessment(**passes))
    assert services.record_assessment(document=world.scan, **passes).pk
