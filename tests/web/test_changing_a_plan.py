"""Changing a plan and calling a job off, on its page."""

from __future__ import annotations

from datetime import timedelta
from zoneinfo import ZoneInfo

from django.test import Client
from django.utils.formats import localize_input

from registry.crews.board import Week
from registry.crews.models import Job
from registry.web.forms import PlanForm, planned_before
from tests.web.test_pages import erector_on
from tests.world import World


def as_planned(job: Job) -> dict[str, object]:
    """What the form shows of the plan, as a browser sends it back."""
    form = PlanForm(initial=planned_before(job))
    return {each.name: localize_input(each.value(), "%Y-%m-%dT%H:%M") for each in form if each.value() is not None}


def test_a_plan_is_changed_and_its_people_are_on_the_new_one(world: World, dispatcher: Client) -> None:
    job = world.job(["erector"])
    erector_on(world, job)
    path = f"/jobs/{job.pk}/change/"
    assert path in dispatcher.get(f"/jobs/{job.pk}/").text
    typed = as_planned(job)
    end = (job.end + timedelta(days=1)).astimezone(ZoneInfo(job.site.time_zone))
    changed = dispatcher.post(path, {**typed, "end": end.strftime("%Y-%m-%dT%H:%M")}, follow=True)
    later = Job.objects.get(supersedes=job)
    assert later.end == job.end + timedelta(days=1)
    assert later.start == job.start
    assert "1 place is filled again." in changed.text
    assert "Mira Sandoval" in changed.text
    assert f'href="/jobs/{job.pk}/"' in changed.text
    before = dispatcher.get(f"/jobs/{job.pk}/").text
    assert "This plan was replaced" in before
    assert f'href="/jobs/{later.pk}/"' in before
    stale = dispatcher.get(path, follow=True)
    assert "This plan was replaced" in stale.text


def test_a_job_is_called_off_and_needs_nobody(world: World, dispatcher: Client) -> None:
    job = world.job(["erector"])
    week = f"/?week={Week.of(job.start.date())}"
    assert f"/jobs/{job.pk}/" in dispatcher.get(week).text
    path = f"/jobs/{job.pk}/call-off/"
    assert dispatcher.post(path, {"reason": ""}).status_code == 422
    shown = dispatcher.post(path, {"reason": "The crane is sold"}, follow=True).text
    assert "This job was called off" in shown
    assert "The crane is sold" in shown
    assert "Fill this place" not in shown
    assert f"/jobs/{job.pk}/" not in dispatcher.get(week).text


def test_another_employer_and_an_inspector_change_nothing(
    world: World, inspector: Client, another_employer: Client
) -> None:
    job = world.job(["erector"])
    for what in ("change", "call-off"):
        assert another_employer.post(f"/jobs/{job.pk}/{what}/", {"reason": "x"}).status_code == 404
        assert inspector.post(f"/jobs/{job.pk}/{what}/", {"reason": "x"}).status_code == 403
    assert Job.objects.get() == job
