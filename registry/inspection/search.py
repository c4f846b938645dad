"""Finding a person, a job, a crane, or the crews of a day, over all employers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Prefetch, Q, QuerySet

from registry.crews.models import AssignmentState, Job
from registry.crews.queries import current_jobs
from registry.engine.calendar import end_of_day, start_of_day
from registry.equipment.models import Crane
from registry.people.finding import named
from registry.people.models import Worker

MOST = 20


@dataclass(frozen=True, slots=True)
class Found:
    """What a search found, at most ``MOST`` of each; ``more`` says that some are left off."""

    words: str
    workers: list[Worker]
    jobs: list[Job]
    cranes: list[Crane]
    more: bool

    @property
    def nothing(self) -> bool:
        """Whether nothing was found."""
        return not (self.workers or self.jobs or self.cranes)


def find(words: str) -> Found:
    """Whatever holds every one of the words in its names and numbers. Three statements."""
    wanted = words.replace("\0", "").split()[:6]
    workers = Worker.objects.order_by("family_name", "given_name", "id")
    jobs = current_jobs()
    cranes = Crane.objects.select_related("model__maker").order_by("serial_number", "id")
    for word in wanted:
        workers = workers.filter(named(word))
        on_crane = Q(crane__serial_number__icontains=word) | Q(crane__model__designation__icontains=word)
        jobs = jobs.filter(
            on_crane | Q(site__name__icontains=word) | Q(employer__name__icontains=word) | Q(operation__iexact=word)
        )
        cranes = cranes.filter(
            Q(serial_number__icontains=word)
            | Q(model__designation__icontains=word)
            | Q(model__maker__name__icontains=word)
        )
    if not wanted:
        return Found(words, [], [], [], more=False)
    people, planned, known = list(workers[: MOST + 1]), list(jobs[: MOST + 1]), list(cranes[: MOST + 1])
    more = any(len(each) > MOST for each in (people, planned, known))
    return Found(words, people[:MOST], planned[:MOST], known[:MOST], more)


@dataclass(frozen=True, slots=True)
class CrewOnDay:
    """A job that was on that day at its site, and who stood on its crew at some time of it."""

    job: Job
    members: list[AssignmentState]


def crews_on(day: date) -> list[CrewOnDay]:
    """The crews of a calendar day, each by the clock of its own site. Two statements."""
    # A day somewhere begins up to 14 hours before and ends up to 12 hours after it does in UTC.
    margin = timedelta(hours=14)
    utc = ZoneInfo("UTC")
    around = current_jobs().filter(start__lt=end_of_day(day, utc) + margin, end__gt=start_of_day(day, utc) - margin)
    found = []
    for job in around.prefetch_related(Prefetch("assignment_states", _members())):
        zone = ZoneInfo(job.site.time_zone)
        first, last = start_of_day(day, zone), end_of_day(day, zone)
        if job.start < last and job.end > first:
            members = [
                each
                for each in job.assignment_states.all()
                if each.standing != "ended" and each.during.lower < last and each.during.upper > first
            ]
            found.append(CrewOnDay(job, members))
    return found


def _members() -> QuerySet[AssignmentState]:
    return AssignmentState.objects.select_related("worker", "slot").order_by("slot_id", "during")


def jobs_on_crane(crane: Crane) -> QuerySet[Job]:
    """The current plans for a crane, latest first."""
    return current_jobs().filter(crane=crane).order_by("-start", "-id")
