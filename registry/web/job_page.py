"""What the pages about jobs show, in a fixed number of statements."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from registry.crews.described import readable_reason
from registry.crews.models import AssignmentState, Job, Refusal, Slot
from registry.crews.queries import CrewView, crew_of
from registry.engine.crew import CrewFinding
from registry.engine.intervals import Interval, Timeline
from registry.people.models import Account


@dataclass(frozen=True, slots=True)
class Readiness:
    """How far a job's places are filled."""

    job: Job
    places: int
    filled: int
    held: int

    @property
    def open(self) -> int:
        """Places with nobody, or not for the whole window."""
        return self.places - self.filled - self.held

    @property
    def state(self) -> str:
        """The name of the state's shape."""
        if self.held:
            return "held"
        return "open" if self.open else "stands"


def readiness_of(jobs: Sequence[Job]) -> list[Readiness]:
    """Readiness of each job: two statements, however many jobs."""
    places: dict[int, list[int]] = defaultdict(list)
    for slot in Slot.objects.filter(job__in=jobs):
        places[slot.job_id].append(slot.pk)
    standing: dict[int, list[AssignmentState]] = defaultdict(list)
    held = set()
    for state in AssignmentState.objects.filter(job__in=jobs).exclude(standing="ended"):
        if state.standing == "held":
            held.add(state.slot_id)
        else:
            standing[state.slot_id].append(state)
    found = []
    for job in jobs:
        filled = {slot for slot in places[job.pk] if _gap(job, standing[slot]) is None}
        waiting = [slot for slot in places[job.pk] if slot in held and slot not in filled]
        found.append(Readiness(job, len(places[job.pk]), len(filled), len(waiting)))
    return found


def _gap(job: Job, states: Sequence[AssignmentState]) -> object:
    return Timeline.of((each.during.lower, each.during.upper) for each in states).first_gap(job.start, job.end)


@dataclass(frozen=True, slots=True)
class Place:
    """A place on the crew as one account may see it."""

    slot: Slot
    title: str
    assignments: list[AssignmentState]
    filled: bool
    held: bool
    hidden: bool

    @property
    def state(self) -> str:
        """The name of the state's shape."""
        if self.filled:
            return "stands"
        return "held" if self.held else "open"

    @property
    def gap(self) -> Interval | None:
        """The first part of the job that nobody is in, where somebody is in the place for another part."""
        if not self.assignments:
            return None
        job = self.slot.job
        taken = Timeline.of((each.during.lower, each.during.upper) for each in self.assignments)
        return next(iter(taken.outside().limited_to(job.start, job.end).intervals), None)


@dataclass(frozen=True, slots=True)
class CrewPage:
    """The crew of a job as one account may see it."""

    view: CrewView
    places: list[Place]
    findings: tuple[CrewFinding, ...]
    refusals: list[Refusal]
    may_assign: bool

    @property
    def job(self) -> Job:
        """The job."""
        return self.view.job

    @property
    def held(self) -> int:
        """How many people wait for their place to be decided again."""
        return sum(each.standing == "held" for place in self.places for each in place.assignments)

    @property
    def unmet(self) -> list[CrewFinding]:
        """The crew rules that are not met."""
        return [each for each in self.findings if not each.met]

    @property
    def met(self) -> list[CrewFinding]:
        """The crew rules that are met."""
        return [each for each in self.findings if each.met]


def crew_for(account: Account, job: Job) -> CrewPage:
    """The crew; a worker sees who else only as a place that is filled or not."""
    view = crew_of(job)
    only_own = account.kind == "worker"
    seen = {
        place.slot.pk: [each for each in place.assignments if not only_own or each.worker_id == account.worker_id]
        for place in view.slots
    }
    # A worker is not told by the reason of a hold who else is on the crew.
    names = {f"worker:{each.worker_id}": str(each.worker) for shown in seen.values() for each in shown}
    places = []
    for place in view.slots:
        shown = seen[place.slot.pk]
        for each in shown:
            each.reason = readable_reason(each.reason, names)
        hidden = len(shown) < len(place.assignments)
        places.append(Place(place.slot, place.title, shown, place.filled, place.held, hidden))
    refusals: list[Refusal] = []
    if not only_own:
        latest = Refusal.objects.filter(slot__job=job).select_related("decision__worker", "slot")
        refusals = list(latest.order_by("-refused_at")[:10])
    may_assign = account.kind == "employer" and account.employer_id == job.employer_id
    return CrewPage(view, places, () if only_own else view.findings, refusals, may_assign)
