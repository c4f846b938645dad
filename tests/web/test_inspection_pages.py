"""The inspector's pages, and the trace that every look leaves."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone

from registry.crews.models import Slot
from registry.evidence import services as evidence
from registry.inspection import bundle
from registry.inspection.models import InspectionFile, Look
from registry.inspection.trace import LOOKS
from registry.language.amounts import instant
from registry.ledger.models import Entry
from registry.people.models import Worker
from registry.web.looks import API_RECORDS
from tests.world import World

# Pages whose address names a record, but which change it or show nobody's records.
NOT_LOOKS = {
    "fill_slot": "the employer's form; what comes of it is a decision",
    "substitute": "the employer's form; what comes of it is a decision",
    "end_assignment": "the employer's form",
    "change_plan": "the employer's form about its own job",
    "call_off": "the employer's form about its own job",
    "decide_again": "a POST; what comes of it is a decision",
    "decide_held_again": "a POST; what comes of it are decisions",
    "decide_crew_again": "a POST; what comes of it are decisions",
    "add_record": "the employer's form",
    "deny_signature": "the worker's own form about a signature in their name",
    "answer_employer": "a POST, the worker's own answer",
    "correct_record": "the employer's or the assessor's form about a record it answers for",
    "withdraw_record": "the employer's or the assessor's form about a record it answers for",
    "ask_for_correction": "the worker's own form about an own record",
    "assess": "the assessor's own form",
    "place_crane": "a form; it shows nobody's records",
    "answer_objection": "the employer's form about hours it recorded",
    "answer_request": "the employer's form about a record it answers for",
    "import_table": "the employer's own file",
    "end_shared_link": "a POST of the worker's own",
    "notice_particulars": "the employer's form about its own job",
    "add_party": "the employer's form about its own job",
    "change_party": "the employer's form about its own job",
    "remove_party": "a POST of the employer's about its own job",
    "add_procedure": "the employer's form about its own job",
    "change_procedure": "the employer's form about its own job",
    "remove_procedure": "a POST of the employer's about its own job",
    "record_notice_sent": "the employer's form about its own job",
    "notice_not_sent": "a POST of the employer's about its own job",
}


def addresses(resolver: URLResolver) -> list[URLPattern]:
    found: list[URLPattern] = []
    for each in resolver.url_patterns:
        found += [each] if isinstance(each, URLPattern) else addresses(each)
    return found


def test_no_page_about_a_person_or_job_is_forgotten() -> None:
    named = ["worker", "job", "slot", "decision", "assignment", "file", "crane"]
    named += ["document", "record", "objection", "request"]
    about = [f"<int:{each}_id>" for each in named] + ["<int:record>"]
    forgotten = set()
    for each in addresses(get_resolver()):
        name = each.name or ""
        told = name in LOOKS or name in NOT_LOOKS or name.partition("-")[0] in API_RECORDS
        if any(argument in str(each.pattern) for argument in about) and not told:
            forgotten.add(name)
        if "pk" in str(each.pattern) and name.endswith("-detail") and not told:
            forgotten.add(name)
    assert forgotten == set()


@pytest.fixture
def crew(world: World) -> Worker:
    """An erector in the only place of a job's crew."""
    erector = world.worker("Ana", "Castell")
    world.make_erector(erector)
    slot = world.job(["erector"]).slots.get()
    assert world.assign(slot, erector).permitted
    return erector


def job_of(erector: Worker) -> int:
    return erector.assignments.get().slot.job_id


class TestSearch:
    @pytest.mark.parametrize("words", ["castell", "ana", "quillon", "180-7", "halvorsby dismantling"])
    def test_finds_people_jobs_and_cranes(self, inspector: Client, crew: Worker, words: str) -> None:
        page = inspector.get(reverse("inspection"), {"q": words})
        assert page.status_code == 200
        assert "Castell" in page.text or "Quillon Wharf" in page.text

    def test_says_when_there_is_nothing(self, inspector: Client, crew: Worker) -> None:
        assert "Nobody and nothing" in inspector.get(reverse("inspection"), {"q": "zzzz"}).text

    def test_shows_the_crews_of_a_day_by_the_clock_of_the_site(
        self, inspector: Client, crew: Worker, world: World
    ) -> None:
        start = crew.assignments.get().start
        # The job starts at 15:00 UTC, which is the same day in the site's zone; the day before it nobody is there.
        shown = inspector.get(reverse("inspection"), {"day": f"{start:%Y-%m-%d}"}).text
        before = inspector.get(reverse("inspection"), {"day": f"{start - timedelta(days=1):%Y-%m-%d}"}).text
        assert "Ana Castell" in shown
        assert "Ana Castell" not in before

    def test_a_day_that_is_none_is_told_beside_its_field(self, inspector: Client) -> None:
        page = inspector.get(reverse("inspection"), {"q": "ana", "day": "yesterday"})
        assert page.status_code == 422
        assert "id_day_error" in page.text
        assert 'value="yesterday"' in page.text

    def test_is_the_inspectors_alone(
        self, dispatcher: Client, as_worker: Callable[[Worker], Client], crew: Worker
    ) -> None:
        for client in (dispatcher, as_worker(crew)):
            assert client.get(reverse("inspection")).status_code == 403
            assert client.get(reverse("second_look")).status_code == 403

    def test_takes_as_many_statements_for_many_people(
        self, inspector: Client, crew: Worker, world: World, django_assert_max_num_queries: Callable[..., object]
    ) -> None:
        for number in range(8):
            world.worker("Ana", f"Castell {number}")
        with django_assert_max_num_queries(14):  # type: ignore[attr-defined]
            inspector.get(reverse("inspection"), {"q": "castell"})


class TestTheTrace:
    def test_a_look_at_a_person_is_seen_by_worker_and_employer(
        self, inspector: Client, dispatcher: Client, as_worker: Callable[[Worker], Client], crew: Worker
    ) -> None:
        inspector.get(reverse("worker", args=[crew.pk]))
        assert "an inspector of the public authority" in as_worker(crew).get(reverse("looks")).text
        assert "Ana Castell" in dispatcher.get(reverse("looks")).text

    def test_a_look_at_a_job_is_seen_by_its_employer_and_its_crew_only(
        self,
        inspector: Client,
        dispatcher: Client,
        another_employer: Client,
        as_worker: Callable[[Worker], Client],
        crew: Worker,
        world: World,
    ) -> None:
        inspector.get(reverse("job", args=[job_of(crew)]))
        seen = "crew of a job"
        assert seen in dispatcher.get(reverse("looks")).text
        assert seen in as_worker(crew).get(reverse("looks")).text
        assert seen not in another_employer.get(reverse("looks")).text
        assert seen not in as_worker(world.worker("Bo", "Nyland")).get(reverse("looks")).text

    def test_whoever_was_refused_a_place_sees_who_looked_at_the_job(
        self, inspector: Client, as_worker: Callable[[Worker], Client], crew: Worker, world: World
    ) -> None:
        refused = world.worker("Bo", "Nyland")
        slot = Slot.objects.filter(job=job_of(crew)).first()
        assert slot is not None
        assert not world.assign(slot, refused).permitted
        inspector.get(reverse("open_file", args=[slot.job_id]))
        assert "a job a file is to be opened on" in as_worker(refused).get(reverse("looks")).text

    def test_an_employers_look_at_a_record_is_seen_by_the_worker(
        self, dispatcher: Client, as_worker: Callable[[Worker], Client], crew: Worker
    ) -> None:
        dispatcher.get(reverse("worker", args=[crew.pk]))
        assert "Halvorsby Tower Works" in as_worker(crew).get(reverse("looks")).text

    def test_so_is_one_at_the_record_line_by_line(
        self, inspector: Client, as_worker: Callable[[Worker], Client], crew: Worker
    ) -> None:
        assert inspector.get(reverse("person_records", args=[crew.pk])).status_code == 200
        assert "record by record" in as_worker(crew).get(reverse("looks")).text

    @pytest.mark.parametrize("through", ["page", "interface"])
    def test_an_answer_as_known_then_is_a_look_at_the_person(
        self, inspector: Client, crew: Worker, world: World, through: str
    ) -> None:
        slot = crew.assignments.get().slot
        if through == "page":
            asked = {"worker": str(crew.pk), "at": "2026-01-05T07:00"}
            page = inspector.get(reverse("slot_as_known", args=[slot.pk]), asked)
        else:
            asked = {"worker": f"{crew.pk}.0", "at": "2026-01-05T07:00:00+00:00"}
            page = inspector.get(reverse("slot-as-known-at", args=[slot.pk]), asked)
        assert page.status_code == 200
        look = Look.objects.get()
        assert (look.worker_id, look.job_id) == (crew.pk, slot.job_id)

    def test_a_worker_leaves_none_at_their_own_record(
        self, as_worker: Callable[[Worker], Client], crew: Worker
    ) -> None:
        as_worker(crew).get(reverse("worker", args=[crew.pk]))
        assert not Look.objects.exists()

    def test_looks_through_the_programming_interface_count(self, inspector: Client, crew: Worker) -> None:
        assert inspector.get(f"/api/jobs/{job_of(crew)}/crew/").status_code == 200
        assert Look.objects.get().job_id == job_of(crew)

    def test_what_is_not_found_is_no_look(self, inspector: Client) -> None:
        assert inspector.get(reverse("worker", args=[999_999])).status_code == 404
        assert not Look.objects.exists()

    def test_every_look_is_in_the_log(self, inspector: Client, crew: Worker) -> None:
        inspector.get(reverse("worker", args=[crew.pk]))
        assert Entry.objects.filter(kind="inspection_look", record=Look.objects.get().pk).exists()

    def test_cannot_be_wiped(self, inspector: Client, crew: Worker) -> None:
        inspector.get(reverse("worker", args=[crew.pk]))
        for statement in ("DELETE FROM inspection_look", "UPDATE inspection_look SET what = 'home'"):
            with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
                cursor.execute(statement)

    def test_nothing_is_shown_where_it_cannot_be_recorded(
        self, inspector: Client, crew: Worker, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def fail(**given: object) -> None:
            raise DatabaseError

        monkeypatch.setattr("registry.web.looks.record_look", fail)
        inspector.raise_request_exception = False
        page = inspector.get(reverse("worker", args=[crew.pk]))
        assert page.status_code == 500
        assert "Castell" not in page.text


class TestFiles:
    def opened(self, inspector: Client, crew: Worker) -> InspectionFile:
        asked = {"reference": "WS/2026/7", "purpose": "A report"}
        page = inspector.post(reverse("open_file", args=[job_of(crew)]), asked)
        assert page.status_code == 302
        return InspectionFile.objects.get()

    def test_is_opened_with_a_reason_and_shows_the_decisions(self, inspector: Client, crew: Worker) -> None:
        opened = self.opened(inspector, crew)
        shown = inspector.get(reverse("file", args=[opened.pk])).text
        assert "A report" in shown
        assert "Ana Castell" in shown

    def test_a_reference_is_used_once_and_what_was_typed_is_kept(self, inspector: Client, crew: Worker) -> None:
        self.opened(inspector, crew)
        again = inspector.post(
            reverse("open_file", args=[job_of(crew)]), {"reference": "WS/2026/7", "purpose": "Another report"}
        )
        assert again.status_code == 422
        assert "id_reference_error" in again.text
        assert "Another report" in again.text

    def test_the_bundle_is_downloaded_and_the_download_is_seen(
        self, inspector: Client, dispatcher: Client, crew: Worker, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(bundle, "print_report", lambda **given: b"%PDF-1.7 a report")
        opened = self.opened(inspector, crew)
        download = inspector.get(reverse("bundle", args=[opened.pk]))
        assert download["Content-Disposition"] == 'attachment; filename="inspection-ws20267.zip"'
        assert "records.json" in zipfile.ZipFile(io.BytesIO(download.content)).namelist()
        assert "inspection bundle downloaded" in dispatcher.get(reverse("looks")).text

    def test_is_for_nobody_else(self, inspector: Client, dispatcher: Client, crew: Worker) -> None:
        opened = self.opened(inspector, crew)
        for name in ("file", "bundle"):
            assert dispatcher.get(reverse(name, args=[opened.pk])).status_code == 403
        assert dispatcher.post(reverse("open_file", args=[job_of(crew)]), {}).status_code == 403


class TestAsKnown:
    def test_two_answers_stand_side_by_side(self, inspector: Client, crew: Worker, world: World) -> None:
        evidence.stand_down(
            worker=crew,
            start=world.now - timedelta(days=1),
            reason="unclipped at height",
            recorded_at=world.now,
            recorded_by=None,
        )
        slot = crew.assignments.get().slot
        before = (world.now - timedelta(hours=2)).astimezone(ZoneInfo(slot.job.site.time_zone))
        page = inspector.get(
            reverse("slot_as_known", args=[slot.pk]), {"worker": str(crew.pk), "at": f"{before:%Y-%m-%dT%H:%M}"}
        )
        assert page.status_code == 200
        assert "permitted. By what it knows now: refused" in page.text
        assert "the stand-down was recorded only after that instant" in page.text

    def test_the_minute_printed_beside_a_record_includes_the_record(
        self, inspector: Client, crew: Worker, world: World
    ) -> None:
        slot = crew.assignments.get().slot
        recorded = world.now - timedelta(hours=1) + timedelta(seconds=30)
        evidence.stand_down(
            worker=crew, start=recorded, reason="unclipped at height", recorded_at=recorded, recorded_by=None
        )
        at = recorded.astimezone(ZoneInfo(slot.job.site.time_zone))
        asked = {"worker": str(crew.pk), "at": f"{at:%Y-%m-%dT%H:%M}"}
        page = inspector.get(reverse("slot_as_known", args=[slot.pk]), asked).text
        assert "refused. By what it knows now: refused" in page
        assert f"recorded through {instant(recorded, ZoneInfo(slot.job.site.time_zone))}." in page
        whole = inspector.get(reverse("job_as_known", args=[slot.job_id]), asked)
        assert whole.context["crew"].known_at == recorded.replace(second=59, microsecond=999_999)

    def test_the_present_minute_ends_now(self, dispatcher: Client, crew: Worker, world: World) -> None:
        at = timezone.now().astimezone(ZoneInfo(world.site.time_zone))
        page = dispatcher.get(reverse("job_as_known", args=[job_of(crew)]), {"at": f"{at:%Y-%m-%dT%H:%M}"})
        assert page.status_code == 200
        assert page.context["crew"].known_at <= timezone.now()

    def test_of_a_whole_crew(self, dispatcher: Client, crew: Worker) -> None:
        page = dispatcher.get(reverse("job_as_known", args=[job_of(crew)]), {"at": "2024-06-01T07:00"})
        assert page.status_code == 200
        assert "did not know this plan" in page.text

    def test_the_future_is_refused_beside_its_field(self, dispatcher: Client, crew: Worker) -> None:
        page = dispatcher.get(reverse("job_as_known", args=[job_of(crew)]), {"at": "2124-06-01T07:00"})
        assert page.status_code == 422
        assert "cannot know the future" in page.text
        assert 'value="2124-06-01T07:00"' in page.text

    def test_another_employer_does_not_see_it(self, another_employer: Client, crew: Worker) -> None:
        slot = crew.assignments.get().slot
        assert another_employer.get(reverse("job_as_known", args=[job_of(crew)])).status_code == 404
        assert another_employer.get(reverse("slot_as_known", args=[slot.pk]), {"worker": crew.pk}).status_code == 404


def test_pointers_say_that_they_accuse_nobody(inspector: Client, crew: Worker) -> None:
    page = inspector.get(reverse("second_look"))
    assert page.status_code == 200
    assert "not accusations" in page.text
    assert inspector.get(reverse("second_look_at", args=[crew.pk])).status_code == 200


def test_a_cranes_page_says_where_it_stood(inspector: Client, crew: Worker, world: World) -> None:
    assert "Quillon Wharf" in inspector.get(reverse("crane", args=[world.crane.pk])).text


def test_a_look_at_a_records_place_in_the_log_names_whose_record_it_is(
    inspector: Client, dispatcher: Client, crew: Worker
) -> None:
    entry = crew.hoursentry_records.latest("pk")
    assert inspector.get(reverse("log_record", args=["evidence_hoursentry", entry.pk])).status_code == 200
    assert Look.objects.get().worker_id == crew.pk
    assert dispatcher.get(reverse("log_record", args=["evidence_hoursentry", entry.pk])).status_code == 200
    assert Look.objects.count() == 2
