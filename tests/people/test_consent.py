"""A rival firm does not put somebody on its books: by page, import and raw SQL, until that person agrees."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import DatabaseError, connections, transaction

from registry.database.errors import RecordRefused, constraint_of
from registry.evidence import services as evidence
from registry.people import consent
from registry.people import services as people
from registry.people.models import (
    Account,
    Employer,
    Employment,
    EmploymentCode,
    EmploymentConsent,
    EmploymentRequest,
    Worker,
)
from tests.world import World

RULE = "a_registered_person_is_taken_on_with_consent"
BORN = date(1985, 5, 5)


@dataclass
class Rivals:
    """A worker of one firm with an account, and a rival firm that wants them."""

    world: World
    rival: Employer = field(init=False)
    wanted: Worker = field(init=False)
    firm: Account = field(init=False)
    rivals: Account = field(init=False)
    own: Account = field(init=False)

    def __post_init__(self) -> None:
        self.rival = people.register_employer(name="Cormorant Lift Yard", jurisdiction="US", recorded_at=self.world.now)
        self.wanted = self.world.worker("Ada", "Quist")
        self.firm = self.world.dispatcher()
        self.rivals = people.open_account(username="rival", password=None, kind="employer", employer=self.rival)
        self.own = people.open_account(username="ada", password=None, kind="worker", worker=self.wanted)

    @property
    def now(self) -> datetime:
        return self.world.now

    @property
    def today(self) -> date:
        return self.now.date()

    def by_rival(self, **given: Any) -> dict[str, Any]:
        return {"employer": self.rival, "recorded_at": self.now, "recorded_by": self.rivals, **given}

    def ask(self, **given: Any) -> None:
        asked = {"number": self.wanted.number, "family_name": "Quist", "date_of_birth": BORN, "start": self.today}
        consent.ask(**self.by_rival(**(asked | given)))

    def employed(self) -> bool:
        return Employment.objects.current().filter(worker=self.wanted, employer=self.rival).exists()


@pytest.fixture
def rivals(db: None) -> Rivals:
    return Rivals(World(datetime.now(UTC).replace(second=0, microsecond=0)))


def refused(rule: str, act: Any) -> None:
    with pytest.raises((DatabaseError, RecordRefused)) as error, transaction.atomic():
        act()
    if isinstance(error.value, RecordRefused):
        assert [each.rule for each in error.value.problems] == [rule]
    elif isinstance(error.value, DatabaseError):
        assert constraint_of(error.value) == rule


def test_a_registered_person_is_not_employed_without_consent(rivals: Rivals) -> None:
    refused(RULE, lambda: people.employ(worker=rivals.wanted, start=rivals.today, **rivals.by_rival()))
    refused(
        RULE,
        lambda: Employment.objects.create(worker=rivals.wanted, start=rivals.today, **rivals.by_rival()),
    )
    assert not rivals.employed()


def test_no_wrong_pretence_of_consent_passes(rivals: Rivals) -> None:
    own, past = rivals.own, rivals.now - timedelta(days=1)
    rivals.ask()
    (asked,) = EmploymentRequest.objects.all()
    made = consent.make_code(worker=rivals.wanted, employer=None, start=rivals.today, at=rivals.now, made_by=own).made
    given = {"worker": rivals.wanted, "start": rivals.today, **rivals.by_rival()}
    for pretence in (
        # The rival answers for the person, says that the registrar did, or knows the hash alone.
        {"how": "own_account", "request": asked},
        {"how": "registrar", "reason": "shown a letter"},
        {"how": "code", "code": made, "code_typed": made.code_hash[:40]},
        {"how": "code", "code": made},
    ):
        refused(
            "consent_is_the_persons_own", lambda pretence=pretence: EmploymentConsent.objects.create(**given | pretence)
        )
    # Nor does the person's account answer what was not asked.
    other = {"how": "own_account", "request": asked, "recorded_by": own}
    for wrong in ({"start": rivals.today - timedelta(days=900)}, {"employer": rivals.world.employer}):
        refused(
            "consent_is_the_persons_own", lambda wrong=wrong: EmploymentConsent.objects.create(**given | other | wrong)
        )
    code = {
        "worker": rivals.wanted,
        "start": rivals.today,
        "recorded_at": rivals.now,
        "expires_at": past + timedelta(days=3),
    }
    refused(
        "consent_is_the_persons_own",
        lambda: EmploymentCode.objects.create(code_hash="0" * 64, recorded_by=rivals.rivals, **code),
    )
    assert not rivals.employed()


def test_nothing_tells_whether_anybody_fits(rivals: Rivals) -> None:
    rivals.ask()
    for wrong in ({"number": "W-999999"}, {"family_name": "Quint"}, {"date_of_birth": date(1985, 5, 6)}):
        rivals.ask(**wrong)
    assert [each.worker for each in EmploymentRequest.objects.order_by("id")] == [rivals.wanted, None, None, None]
    told = consent.asked_by(rivals.rival, at=rivals.now, most=20)
    assert [each.number for each in told].count(rivals.wanted.number) == 3
    (asked,) = consent.open_requests_of(rivals.wanted, at=rivals.now)
    consent.decline(request=asked, recorded_at=rivals.now, recorded_by=rivals.own)
    assert consent.asked_by(rivals.rival, at=rivals.now, most=20) == told
    assert consent.open_requests_of(rivals.wanted, at=rivals.now) == []
    with pytest.raises(RecordRefused, match="answered already"):
        consent.accept(request=asked, recorded_at=rivals.now, recorded_by=rivals.own)


def test_a_request_is_answered_by_the_person_alone(rivals: Rivals) -> None:
    rivals.ask()
    (asked,) = consent.open_requests_of(rivals.wanted, at=rivals.now)
    for answer in (consent.accept, consent.decline):
        with pytest.raises(RecordRefused, match="given by the person"):
            answer(request=asked, recorded_at=rivals.now, recorded_by=rivals.rivals)
    taken_on = consent.accept(request=asked, recorded_at=rivals.now, recorded_by=rivals.own)
    assert (taken_on.employer, taken_on.start) == (rivals.rival, rivals.today)


def test_a_code_works_once_in_time_and_for_whom_it_is(rivals: Rivals) -> None:
    def code(**given: Any) -> str:
        made: dict[str, Any] = {"employer": None, "start": rivals.today, "at": rivals.now, **given}
        return consent.make_code(worker=rivals.wanted, made_by=rivals.own, **made).code

    unusable = [
        "ABCD-EFGH-JKMN",
        code(employer=rivals.world.employer),
        code(at=rivals.now - timedelta(days=4)),
    ]
    for each in unusable:
        with pytest.raises(RecordRefused, match="cannot be used"):
            consent.redeem(code=each, start=rivals.today, **rivals.by_rival())
    good = code(employer=rivals.rival)
    with pytest.raises(RecordRefused, match="no earlier day"):
        consent.redeem(code=good, start=rivals.today - timedelta(days=1), **rivals.by_rival())
    consent.redeem(code=good.lower().replace("-", " "), start=rivals.today, **rivals.by_rival())
    with pytest.raises(RecordRefused, match="cannot be used"):
        consent.redeem(code=good, start=rivals.today, **rivals.by_rival())
    assert good.replace("-", "") not in {each.code_hash for each in EmploymentCode.objects.all()}


def test_a_consent_is_for_one_coming(rivals: Rivals) -> None:
    rivals.ask()
    (asked,) = consent.open_requests_of(rivals.wanted, at=rivals.now)
    first = consent.accept(request=asked, recorded_at=rivals.now, recorded_by=rivals.own)
    ended = evidence.correct(first, end=rivals.today, recorded_at=rivals.now, recorded_by=rivals.rivals)
    # Extending it again, moving it back, or another employment on the old consent: each is a new coming.
    for widened in ({"end": None}, {"end": rivals.today + timedelta(days=1)}, {"start": BORN.replace(year=2010)}):
        refused(
            RULE,
            lambda widened=widened: evidence.correct(
                ended, recorded_at=rivals.now, recorded_by=rivals.rivals, **widened
            ),
        )
    later = rivals.today + timedelta(days=40)
    again = {"worker": rivals.wanted, "start": later, "consent": first.consent}
    refused(RULE, lambda: Employment.objects.create(**rivals.by_rival(**again)))
    assert Employment.objects.current().get(employer=rivals.rival).end == rivals.today


def test_who_was_registered_by_the_firm_and_nobody_else_knows_needs_no_consent(rivals: Rivals) -> None:
    given: dict[str, Any] = rivals.by_rival(start=rivals.today - timedelta(days=9))
    new = people.take_on(given_name="Cai", family_name="Orlo", date_of_birth=date(1990, 1, 1), **given)
    (first,) = Employment.objects.filter(worker=new)
    moved = evidence.correct(
        first, start=first.start - timedelta(days=1), recorded_at=rivals.now, recorded_by=rivals.rivals
    )
    left = evidence.correct(
        moved, end=rivals.today - timedelta(days=5), recorded_at=rivals.now, recorded_by=rivals.rivals
    )
    # Who left and comes back is asked, whoever registered them.
    refused(RULE, lambda: people.employ(worker=new, **rivals.by_rival(start=rivals.today)))
    refused(RULE, lambda: evidence.correct(left, end=None, recorded_at=rivals.now, recorded_by=rivals.rivals))


def test_an_account_of_their_own_makes_somebody_known(rivals: Rivals) -> None:
    given: dict[str, Any] = rivals.by_rival(start=rivals.today)
    new = people.take_on(given_name="Cai", family_name="Orlo", date_of_birth=date(1990, 1, 1), **given)
    people.open_account(username="cai", password=None, kind="worker", worker=new)
    refused(RULE, lambda: people.employ(worker=new, **rivals.by_rival(start=rivals.today - timedelta(days=99))))


def test_the_registrar_records_an_employment(rivals: Rivals) -> None:
    registrar = people.open_account(username="registrar", password=None, kind="registrar")
    given: dict[str, Any] = rivals.by_rival(worker=rivals.wanted, start=rivals.today, recorded_by=registrar)
    with pytest.raises(RecordRefused, match="Say what you were shown"):
        consent.record_for_registrar(reason=" ", **given)
    taken_on = consent.record_for_registrar(reason="Both signed the contract here.", **given)
    assert taken_on.consent is not None
    assert taken_on.consent.how == "registrar"


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_without_an_account_nobody_is_the_registrar_on_a_register_in_use() -> None:
    rivals = Rivals(World(datetime.now(UTC).replace(second=0, microsecond=0)))
    given = {"worker": rivals.wanted, "start": rivals.today, **rivals.by_rival(recorded_by=None)}
    with connections["owner"].cursor() as owner:
        owner.execute("UPDATE database_policy SET recorded_at_tolerance = interval '10 minutes'")
        try:
            refused(RULE, lambda: Employment.objects.create(**given))
        finally:
            owner.execute("UPDATE database_policy SET recorded_at_tolerance = NULL")
    assert not rivals.employed()
