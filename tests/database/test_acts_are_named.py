"""Whatever the application records, somebody who may do it is named: tried by raw SQL as the application's role."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pikepdf
import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connections, models, transaction

from registry.crews.models import Job
from registry.database.errors import constraint_of
from registry.equipment.models import CranePlacement
from registry.evidence.models import (
    Appointment,
    Assessment,
    Certification,
    Countersignature,
    Document,
    HoursEntry,
    Instruction,
)
from registry.people import services as people
from registry.people.closing import close_account
from registry.people.models import Account, Employment, LanguageSkill, Worker
from registry.standards.models import EmployerFigure
from tests.world import OPERATIONS, World

RULE = "an_act_names_an_account_that_may_do_it"
NAMED = """
SELECT attribute.attrelid::regclass::text
FROM pg_attribute attribute JOIN pg_class relation ON relation.oid = attribute.attrelid
WHERE relation.relkind = 'r' AND relation.relnamespace = 'public'::regnamespace
  AND attribute.attname = 'recorded_by_id' AND NOT attribute.attisdropped
  AND has_table_privilege('registry_application', attribute.attrelid, 'INSERT')
"""
GUARDED = """
SELECT tgrelid::regclass::text FROM pg_trigger
WHERE tgname = 'who_acts_is_named' AND tgenabled = 'O'
"""
ELSEWHERE = {
    "evidence_countersignature": "signed by its signer's account; without one it is of an entry from paper",
    "crews_assignmentevent": "names.sql; a trigger puts on hold in nobody's name",
    "people_accountevent": "an account is opened, or its password set, before anybody is signed in",
    "people_closedaccount": "closing.sql; the command closes without a name until there is a registrar",
    "people_employmentrequest": "consent.sql",
    "people_employmentdecline": "consent.sql",
    "people_employmentcode": "consent.sql",
    "people_employmentconsent": "consent.sql",
    "people_identitycheck": "accounts.sql",
    "transcripts_issuedtranscript": "whoever opens a shared link takes one away without an account",
    "transcripts_linkopening": "whoever has the link opens it without an account",
    "transcripts_sharedlink": "raises nobody's standing: a worker's own page makes it",
    "transcripts_endedlink": "raises nobody's standing: a worker's own page makes it",
    "inspection_inspectionfile": "raises nobody's standing: an inspector's page opens it",
    "inspection_look": "names whoever looked",
    "ledger_erasure": "the owner's",
}


@pytest.mark.django_db(databases=["default", "owner"])
def test_every_table_asks_for_a_name_or_says_why_not() -> None:
    with connections["owner"].cursor() as cursor:
        cursor.execute(NAMED)
        named = {table for (table,) in cursor.fetchall()}
        cursor.execute(GUARDED)
        guarded = {table for (table,) in cursor.fetchall()}
    assert len(guarded) > 20
    assert named - guarded - set(ELSEWHERE) == set()
    assert guarded & set(ELSEWHERE) == set()


def refused(act: Callable[[], object]) -> str | None:
    with pytest.raises(DatabaseError) as error, transaction.atomic():
        act()
    return constraint_of(error.value)


class Attempts:
    """One row of each kind that could raise somebody's standing, as the application's role could write it."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.worker = Worker.objects.exclude(pk=world.assessor.pk).get()

    def all(self, account: Account | None) -> dict[str, Callable[[], models.Model]]:
        world, worker = self.world, self.worker
        then, long_ago = world.now - timedelta(days=2), world.now - timedelta(days=2000)
        by: dict[str, Any] = {"recorded_at": datetime.now(UTC), "recorded_by": account}
        hours: dict[str, Any] = {
            "model": world.model,
            "operation": "dismantling",
            "start": then,
            "end": then + timedelta(hours=1),
            "site": world.site,
        }
        given: dict[str, Any] = {
            "role": "erector",
            "model": world.model,
            "operations": OPERATIONS,
            "assessed_at": then,
            "outcome": "pass",
            "assessor": world.assessor,
        }
        job = {
            "site": world.site,
            "crane": world.crane,
            "operation": "dismantling",
            "standard_key": "makers-practice-us",
        }
        window = {"start": world.now + timedelta(days=3), "end": world.now + timedelta(days=4)}
        figure = {"standard_key": "makers-practice-us", "setting": "hours", "minutes": 1}
        founding = {"kind": "founding", "duty": "assessor", "appointed_by": "Ines Okoro", "document": world.scan}
        certificate = {"scheme": "tower crane erection", "number": "1", "issuer": "Norrland Board"}
        return {
            "language": lambda: LanguageSkill.objects.create(worker=worker, language="en", **by),
            "hours": lambda: HoursEntry.objects.create(worker=worker, employer=world.employer, **hours, **by),
            "own assessment": lambda: Assessment.objects.create(worker=worker, employer=world.employer, **given, **by),
            "third party": lambda: Assessment.objects.create(worker=worker, third_party="Board", **given, **by),
            "certificate": lambda: Certification.objects.create(
                worker=worker, issued=date(2024, 1, 1), **certificate, **by
            ),
            "instruction": lambda: Instruction.objects.create(
                worker=worker, topic="crew_tasks_and_hazards", provider="maker", completed_at=then, **by
            ),
            "founding": lambda: Appointment.objects.create(
                worker=worker, employer=world.employer, start=then, **founding, **by
            ),
            "placement": lambda: CranePlacement.objects.create(
                crane=world.crane, site=world.site, start=long_ago, end=long_ago + timedelta(days=9), **by
            ),
            "job": lambda: Job.objects.create(employer=world.employer, **job, **window, **by),
            "figure": lambda: EmployerFigure.objects.create(employer=world.employer, **figure, **by),
            "document": lambda: Document.objects.create(
                name="x", media_type="application/pdf", content=b"x", size=1, sha256=X, **by
            ),
        }


X = "2d711642b726b04401627ca9fbac32f5c8530fb1903cc4db02258717921a4881"
"""The SHA-256 of the letter x."""


class TestAtWork:
    """With the tolerance of work, which tests otherwise lift; the owner's change is taken back."""

    pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])

    @pytest.fixture
    def world(self, transactional_db: None) -> Iterator[World]:
        world = World(datetime.now(UTC).replace(second=0, microsecond=0))
        world.worker("Mira", "Sandoval")
        self.tolerate("interval '10 minutes'")
        yield world
        self.tolerate("NULL")

    def tolerate(self, how_much: str) -> None:
        with connections["owner"].cursor() as cursor:
            cursor.execute(f"UPDATE database_policy SET recorded_at_tolerance = {how_much}")

    def test_nobody_records_anything_without_a_name(self, world: World) -> None:
        rules = {what: refused(act) for what, act in Attempts(world).all(None).items()}
        assert set(rules.values()) == {RULE}, rules

    def test_an_account_of_another_kind_or_a_closed_one_is_no_name(self, world: World) -> None:
        mira = Worker.objects.get(given_name="Mira")
        people.open_account(username="mira", password=None, kind="worker", worker=mira)
        closed = world.dispatcher()
        Attempts(world).all(closed)["language"]()
        close_account(account=closed, closed_at=datetime.now(UTC), closed_by=None, reason="Left.")
        for account, what in (
            (Account.objects.get(username="mira"), ("language", "hours", "certificate", "instruction", "founding")),
            (closed, ("language", "hours", "certificate", "instruction", "founding", "placement", "figure")),
        ):
            attempts = Attempts(world).all(account)
            rules = {name: refused(attempts[name]) for name in what}
            assert set(rules.values()) == {RULE}, (account.username, rules)

    def test_an_employer_records_no_other_employers_hours_and_figures(self, world: World) -> None:
        rival = people.register_employer(name="Cormorant Lift Yard", jurisdiction="US", recorded_at=datetime.now(UTC))
        account = people.open_account(username="rival", password=None, kind="employer", employer=rival)
        attempts = Attempts(world).all(account)
        assert refused(attempts["figure"]) == RULE
        assert refused(attempts["hours"]) in (RULE, "an_employer_records_about_its_own_people")

    def test_the_command_brings_in_in_a_registrars_name(self, world: World, tmp_path: Any) -> None:
        self.tolerate("NULL")
        registrar = world.registrar()
        self.tolerate("interval '10 minutes'")
        file = tmp_path / "workers.csv"
        file.write_text(
            "given name,family name,date of birth,employed from,languages\nOla,Nilsrud,1980-01-02,2024-03-01,English\n"
        )
        command = ("import_records", "workers", str(file), "--employer", world.employer.name)
        with pytest.raises(SystemExit):
            call_command(*command)
        assert not Worker.objects.filter(given_name="Ola").exists()
        for nobody in ("nobody", world.dispatcher().username):
            with pytest.raises(CommandError, match="Only a registrar"):
                call_command(*command, "--as", nobody)
        call_command(*command, "--as", registrar.username)
        assert Employment.objects.get(worker__given_name="Ola").recorded_by == registrar

    def test_what_the_registrar_copies_from_paper_is_signed_by_nobody(self, world: World, tmp_path: Any) -> None:
        self.tolerate("NULL")
        registrar = world.registrar()
        self.tolerate("interval '10 minutes'")
        file, scan = tmp_path / "hours.csv", tmp_path / "sheet.pdf"
        mira, petra = Worker.objects.get(given_name="Mira"), world.assessor
        day = (world.now - timedelta(days=3)).date()
        file.write_text(
            "worker number,maker,model,site,date,start,end,operation,countersigner,countersigned on\n"
            f"{mira.number},Brandvold,BT-180,Quillon Wharf,{day},07:00,15:00,dismantling,{petra.number},{day}\n"
        )

        with pikepdf.new() as pdf:
            pdf.add_blank_page()
            pdf.save(scan)
        command = ("import_records", "hours", str(file), "--employer", world.employer.name, "--scan", str(scan))
        call_command(*command, "--as", registrar.username)
        entry = HoursEntry.objects.get(worker=mira)
        assert (entry.origin, entry.recorded_by) == ("paper", registrar)
        assert Countersignature.objects.get(entry=entry).recorded_by is None
