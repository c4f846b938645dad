from __future__ import annotations

import json
from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest

from registry.crews.models import Decision, Job
from registry.evidence import services as evidence
from registry.evidence.models import Certification
from registry.language import amounts
from registry.people.models import Worker
from registry.transcripts.check import Check
from registry.transcripts.crew_sheet import print_crew_sheet
from registry.transcripts.refusal_notice import NotARefusal, print_refusal_notice
from tests.transcripts.reading import kinds, opened, outside_margins, text_of
from tests.world import World


@pytest.fixture
def job(world: World) -> Job:
    return world.job(["erector", "erector", "erection_supervisor"])


@pytest.fixture
def erectors(world: World, job: Job) -> list[Worker]:
    """Two erectors in the first two places; the second one's certificate is suspended since."""
    found = []
    for slot, name in zip(job.slots.order_by("id"), ("Norrgård", "Vestby"), strict=False):
        worker = world.worker("Ilse", name)
        world.make_erector(worker, days=25)
        assert world.assign(slot, worker).assignment is not None
        found.append(worker)
    evidence.change_certification_status(
        certification=Certification.objects.get(worker=found[1]),
        status="suspended",
        effective_at=world.now,
        recorded_at=world.now,
        recorded_by=None,
    )
    return found


@pytest.fixture
def refusal(world: World, job: Job) -> Decision:
    newcomer = world.worker("Newton", "Brand")
    world.hours(newcomer, days=3)
    return world.assign(job.slots.order_by("id")[1], newcomer).decision


def test_crew_sheet_says_who_stands_until_when_and_what_is_held_or_open(
    world: World, job: Job, erectors: list[Worker]
) -> None:
    text = " ".join(text_of(print_crew_sheet(job, printed_at=world.now)))
    assert "Erector 1 stands Ilse Norrgård" in text
    assert "Erector 2 held Ilse Vestby" in text
    assert "held: does not fill the place" in text
    assert "The evidence of Ilse Vestby changed" in text
    assert "A/D director 1 open nobody" in text
    standing = Decision.objects.get(worker=erectors[0])
    assert standing.holds_until is not None
    assert amounts.instant(standing.holds_until, ZoneInfo("America/Vancouver")) in text


def test_crew_sheet_gives_the_crew_rules_with_their_sources(world: World, job: Job, erectors: list[Worker]) -> None:
    text = " ".join(text_of(print_crew_sheet(job, printed_at=world.now)))
    assert "crew rules are not met" in text
    assert "not met A/D director: nobody in the slot" in text
    assert "met Erector 1: the slot is filled throughout" in text
    assert "common practice, no source" in text


def test_crew_sheet_of_nobody_prints_in_french_on_letter(world: World, job: Job) -> None:
    made = print_crew_sheet(job, printed_at=world.now, language="fr", paper="Letter")
    assert "personne" in " ".join(text_of(made))
    assert outside_margins(made, 47.2) == []


def test_refusal_notice_gives_each_requirement_with_figures_source_and_remedy(world: World, refusal: Decision) -> None:
    text = " ".join(text_of(print_refusal_notice(refusal, printed_at=world.now)))
    assert "REFUSED" in text
    assert "Newton Brand as erector" in text
    unmet = [each for each in refusal.answer["requirements"] if each["needed"] and not each["met"]]
    assert len(unmet) > 3
    for each in unmet:
        assert each["required"] in text
        assert each["shortfall"] in text
        assert each["source"]["title"] in text
    for item in refusal.answer["remedy"]["items"]:
        assert item["sentence"].replace("_", " ")[1:] in text
    assert "3 records did not count: worked before what must come first was met" in text


def test_refusal_notice_embeds_the_whole_answer_and_is_tagged(world: World, refusal: Decision) -> None:
    check = Check("https://register.invalid", "ABC")
    pdf = opened(print_refusal_notice(refusal, printed_at=world.now, check=check))
    assert json.loads(pdf.attachments["decision.json"].get_file().read_bytes()) == refusal.answer
    found = kinds(pdf)
    assert found["/TH"] > 3 * 3
    assert found["/Figure"] == 1


def test_there_is_no_notice_of_a_permission(world: World, job: Job, erectors: list[Worker]) -> None:
    with pytest.raises(NotARefusal):
        print_refusal_notice(Decision.objects.get(worker=erectors[0]), printed_at=world.now)


def test_long_names_stay_within_the_page(world: World, job: Job) -> None:
    worker = world.worker("Wolfeschlegelsteinhausenbergerdorff" * 2, "Ångström-" * 11)
    world.make_erector(worker, days=25)
    world.assign(job.slots.order_by("id")[0], worker)
    made = print_crew_sheet(job, printed_at=world.now + timedelta(minutes=1))
    assert outside_margins(made, 47.2) == []
    assert worker.given_name in "".join("".join(text_of(made)).split())
