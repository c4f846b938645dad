"""The pages of the log, and who sees which record's place in it."""

from __future__ import annotations

import html
from collections.abc import Callable
from pathlib import Path

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from registry.crews.models import Assignment, Decision, Job
from registry.evidence.models import Countersignature, HoursEntry
from registry.inspection.records import visible_record
from registry.ledger.models import Checkpoint, Entry
from registry.ledger.verification import Finding
from registry.people import services as people
from registry.people.closing import close_account
from registry.people.models import Account, Worker
from registry.web.log import views
from tests.own_log import keep_log_in
from tests.world import World


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    keep_log_in(tmp_path, monkeypatch)


@pytest.fixture
def worker(world: World) -> Worker:
    worker = world.worker("Tomas", "Ferreira")
    world.hours(worker, days=2)
    return worker


@pytest.fixture
def entry(worker: Worker) -> HoursEntry:
    return HoursEntry.objects.filter(worker=worker).order_by("pk")[0]


def page_of(record: HoursEntry) -> str:
    return f"/log/records/evidence_hoursentry/{record.pk}/"


def checkpoint_made_by(client: Client) -> Checkpoint:
    assert client.post("/log/checkpoints/make/").status_code == 302
    newest = Checkpoint.objects.order_by("size").last()
    assert newest is not None
    return newest


def test_the_log_says_what_it_proves_before_there_is_a_checkpoint(dispatcher: Client) -> None:
    shown = dispatcher.get("/log/")
    assert shown.status_code == 200
    assert "None was made yet." in shown.content.decode()


def test_a_checkpoint_is_made_shown_listed_and_kept(dispatcher: Client, world: World) -> None:
    made = checkpoint_made_by(dispatcher)
    shown = dispatcher.get("/log/").content.decode()
    assert f"Checkpoint of {made.size} leaves made." in shown
    assert html.escape(made.note) in shown
    assert bytes(made.root).hex()[:12] in shown
    kept = dispatcher.get(f"/log/checkpoints/{made.size}/checkpoint.txt")
    assert kept.content.decode() == made.note
    assert kept.headers["Content-Disposition"] == 'attachment; filename="checkpoint.txt"'
    dispatcher.post("/log/checkpoints/make/")
    assert "stays the newest" in dispatcher.get("/log/").content.decode()
    assert dispatcher.get("/log/checkpoints/9999999/checkpoint.txt").status_code == 404


def test_a_worker_makes_no_checkpoint_and_is_offered_none(
    as_worker: Callable[[Worker], Client], worker: Worker
) -> None:
    client = as_worker(worker)
    assert client.post("/log/checkpoints/make/").status_code == 403
    assert "Make a checkpoint now" not in client.get("/log/").content.decode()
    assert not Checkpoint.objects.exists()


def test_growth_is_proved_drawn_and_downloaded(dispatcher: Client, world: World) -> None:
    earlier = checkpoint_made_by(dispatcher)
    world.worker("Mira", "Sandoval")
    later = checkpoint_made_by(dispatcher)
    asked = {"earlier": earlier.size, "later": later.size}
    shown = dispatcher.get("/log/", asked).content.decode()
    assert "No. Everything before A stands unchanged in B." in shown
    assert "in A and in B" in shown
    assert "in B alone" in shown
    proof = dispatcher.get("/log/consistency-proof.json", asked)
    assert proof.json()["earlier"] == earlier.note
    assert "attachment" in proof.headers["Content-Disposition"]


def test_a_wrong_question_about_growth_is_answered_beside_its_field(dispatcher: Client, world: World) -> None:
    earlier = checkpoint_made_by(dispatcher)
    world.worker("Mira", "Sandoval")
    later = checkpoint_made_by(dispatcher)
    backwards = dispatcher.get("/log/", {"earlier": later.size, "later": earlier.size})
    assert backwards.status_code == 422
    assert backwards.context["form"].errors.keys() == {"later"}
    unknown = dispatcher.get("/log/", {"earlier": 1, "later": later.size})
    assert unknown.context["form"].errors.keys() == {"earlier"}
    assert 'value="1"' in unknown.content.decode()
    assert dispatcher.get("/log/consistency-proof.json", {"earlier": 1}).status_code == 404


def test_a_log_that_does_not_lead_on_is_not_called_unchanged(
    dispatcher: Client, world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    earlier = checkpoint_made_by(dispatcher)
    world.worker("Mira", "Sandoval")
    later = checkpoint_made_by(dispatcher)
    really = views.consistency_proof

    def altered(first: Checkpoint, second: Checkpoint) -> object:
        proof = really(first, second)
        first.root = b"\7" * 32
        return proof

    monkeypatch.setattr(views, "consistency_proof", altered)
    shown = dispatcher.get("/log/", {"earlier": earlier.size, "later": later.size}).content.decode()
    assert "Yes: the log does not lead from A to B." in shown


def test_the_verifier_is_given_away(dispatcher: Client) -> None:
    given = dispatcher.get("/log/verify_registry.py")
    assert given.content == views.VERIFIER.read_bytes()
    assert given.headers["Content-Disposition"] == 'attachment; filename="verify_registry.py"'


def test_a_record_shows_its_entry_and_the_way_to_the_root(dispatcher: Client, entry: HoursEntry) -> None:
    waiting = dispatcher.get(page_of(entry)).content.decode()
    assert "No checkpoint covers it yet" in waiting
    made = checkpoint_made_by(dispatcher)
    shown = dispatcher.get(page_of(entry))
    assert "The record stands as it entered the log." in shown.content.decode()
    assert f"checkpoint of {made.size} leaves" in shown.content.decode()
    place = Entry.objects.get(kind="evidence_hoursentry", record=entry.pk).place.index
    assert f"leaf {place}" in shown.content.decode()
    assert len(shown.context["ladder"].rungs) == len(shown.context["found"].proof.path)
    proof = dispatcher.get(page_of(entry) + "?as=json").json()
    assert (proof["index"], proof["open"]["id"]) == (place, entry.pk)


def test_the_place_of_each_hash_in_the_drawing_is_that_of_the_proof(dispatcher: Client, entry: HoursEntry) -> None:
    checkpoint_made_by(dispatcher)
    rungs = dispatcher.get(page_of(entry)).context["ladder"].rungs
    place = Entry.objects.get(kind="evidence_hoursentry", record=entry.pk).place.index
    # RFC 9162, 2.1.3.1: the lowest hash is that of the leaf's own sibling.
    assert rungs[-1].words == f"leaf {place ^ 1}"
    assert rungs[-1].on_the_left == bool(place & 1)
    assert [each.y for each in rungs] == sorted(each.y for each in rungs)


def test_a_strangers_record_has_no_page(
    another_employer: Client, as_worker: Callable[[Worker], Client], world: World, entry: HoursEntry
) -> None:
    for stranger in (another_employer, as_worker(world.assessor)):
        assert stranger.get(page_of(entry)).status_code == 404
        assert stranger.get(page_of(entry) + "?as=json").status_code == 404


def test_the_person_and_an_inspector_see_the_record(
    inspector: Client, as_worker: Callable[[Worker], Client], worker: Worker, entry: HoursEntry
) -> None:
    assert inspector.get(page_of(entry)).status_code == 200
    assert as_worker(worker).get(page_of(entry)).status_code == 200
    assert inspector.get("/log/records/evidence_hoursentry/999999/").status_code == 404
    assert inspector.get("/log/records/no_table/1/").status_code == 404


def test_a_persons_page_and_a_decision_lead_to_the_log(dispatcher: Client, world: World, entry: HoursEntry) -> None:
    shown = dispatcher.get(f"/workers/{entry.worker_id}/").content.decode()
    assert f'href="{page_of(entry)}"' in shown
    assert f'href="/log/records/people_worker/{entry.worker_id}/"' in shown
    outcome = world.assign(world.job(["erector"]).slots.get(), entry.worker)
    shown = dispatcher.get(f"/decisions/{outcome.decision.pk}/").content.decode()
    assert f'href="/log/records/crews_decision/{outcome.decision.pk}/"' in shown


def test_an_inspector_verifies_what_is_new_or_everything(inspector: Client, entry: HoursEntry) -> None:
    made = checkpoint_made_by(inspector)
    first = inspector.get("/log/verification/")
    assert "In order: nothing was found." in first.content.decode()
    assert first.context["report"].started_from == 0
    again = inspector.get("/log/verification/")
    assert again.context["report"].started_from == made.size
    everything = inspector.post("/log/verification/")
    assert everything.context["report"].started_from == 0
    assert everything.context["report"].in_order


def test_a_finding_names_its_record_in_words(
    inspector: Client, entry: HoursEntry, monkeypatch: pytest.MonkeyPatch
) -> None:
    checkpoint_made_by(inspector)
    really = views.here.check

    def check(*, resume: bool) -> object:
        report = really(resume=resume)
        report.findings.append(Finding("altered", "evidence_hoursentry", entry.pk, "operation was another"))
        return report

    monkeypatch.setattr(views.here, "check", check)
    shown = inspector.get("/log/verification/").content.decode()
    assert "Not in order: 1 finding." in shown
    assert f"Hours entry {entry.pk} (evidence_hoursentry)" in shown
    assert "was altered" in shown


def test_a_large_log_is_left_to_the_command(
    inspector: Client, entry: HoursEntry, monkeypatch: pytest.MonkeyPatch
) -> None:
    checkpoint_made_by(inspector)
    monkeypatch.setattr(views, "WITHIN_A_REQUEST", 1)
    monkeypatch.setattr(views.here, "check", None)
    assert "python3 manage.py verify --resume" in inspector.get("/log/verification/").content.decode()


def test_nobody_else_verifies_here(dispatcher: Client) -> None:
    assert dispatcher.get("/log/verification/").status_code == 403


def test_the_log_costs_few_statements_however_many_checkpoints(dispatcher: Client, world: World) -> None:
    checkpoint_made_by(dispatcher)
    dispatcher.get("/log/")
    with CaptureQueriesContext(connection) as few:
        dispatcher.get("/log/")
    for name in ("Sandoval", "Okonjo", "Aalto"):
        world.worker("Mira", name)
        checkpoint_made_by(dispatcher)
    dispatcher.get("/log/")
    with CaptureQueriesContext(connection) as more:
        dispatcher.get("/log/")
    assert len(more) == len(few) <= 12


class TestVisibleRecord:
    """Who may see one record, table by table."""

    @pytest.fixture
    def accounts(self, world: World, worker: Worker) -> dict[str, Account]:
        other = people.register_employer(name="Cormorant Lift Yard", jurisdiction="US", recorded_at=world.now)
        return {
            "own employer": world.dispatcher(),
            "another employer": people.open_account(username="o", password=None, kind="employer", employer=other),
            "the worker": people.open_account(username="w", password=None, kind="worker", worker=worker),
            "another worker": world.assessors_account(),
            "inspector": people.open_account(username="i", password=None, kind="inspector"),
            "registrar": people.open_account(username="r", password=None, kind="registrar"),
        }

    def seen_by(self, accounts: dict[str, Account], kind: str, record: int) -> set[str]:
        return {name for name, account in accounts.items() if visible_record(account, kind, record)}

    def test_a_persons_records(self, accounts: dict[str, Account], worker: Worker, entry: HoursEntry) -> None:
        signature = Countersignature.objects.get(entry=entry)
        theirs = {"own employer", "the worker", "inspector"}
        assert self.seen_by(accounts, "people_worker", worker.pk) == theirs
        assert self.seen_by(accounts, "evidence_hoursentry", entry.pk) == theirs
        assert self.seen_by(accounts, "evidence_countersignature", signature.pk) == theirs

    def test_documents_go_with_what_they_are_attached_to(self, accounts: dict[str, Account], world: World) -> None:
        # Attached to the assessor's founding appointment.
        seen = self.seen_by(accounts, "evidence_document", world.scan.pk)
        assert seen == {"own employer", "another worker", "inspector"}

    def test_a_job_and_what_belongs_to_it(self, accounts: dict[str, Account], world: World, worker: Worker) -> None:
        slot = world.job(["trainee"]).slots.get()
        world.make_erector(worker)
        outcome = world.assign(world.job(["erector"], starts_in=20).slots.get(), worker)
        assert outcome.assignment is not None
        employers = {"own employer", "inspector"}
        assert self.seen_by(accounts, "crews_job", Job.objects.first().pk) == employers  # type: ignore[union-attr]
        assert self.seen_by(accounts, "crews_slot", slot.pk) == employers
        own = employers | {"the worker"}
        assert self.seen_by(accounts, "crews_assignment", Assignment.objects.get().pk) == own
        assert self.seen_by(accounts, "crews_decision", Decision.objects.get().pk) == own

    def test_equipment_is_every_employers(self, accounts: dict[str, Account], world: World) -> None:
        employers = {"own employer", "another employer", "inspector"}
        assert self.seen_by(accounts, "equipment_crane", world.crane.pk) == employers

    def test_an_employer_itself_is_its_own(self, accounts: dict[str, Account], world: World) -> None:
        assert self.seen_by(accounts, "people_employer", world.employer.pk) == {"own employer", "inspector"}

    def test_the_closing_of_an_account_is_its_owners(self, accounts: dict[str, Account], world: World) -> None:
        colleague = people.open_account(username="c", password=None, kind="employer", employer=world.employer)
        for account, owner in ((colleague, "own employer"), (accounts["the worker"], "the worker")):
            closing = close_account(
                account=account, closed_at=world.now, closed_by=accounts["registrar"], reason="Left."
            )
            assert self.seen_by(accounts, "people_closedaccount", closing.pk) == {owner, "inspector"}

    def test_what_no_rule_names_is_nobodys_but_an_inspectors(self, accounts: dict[str, Account]) -> None:
        assert self.seen_by(accounts, "inspection_look", 1) == {"inspector"}
        assert self.seen_by(accounts, "django_session", 1) == set()
