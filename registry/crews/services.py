"""Planning a job and putting people into its slots: permitted or refused, both recorded."""

from __future__ import annotations

import json
import secrets
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from django.db import OperationalError, connection, transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from registry.crews.models import (
    Assignment,
    AssignmentEvent,
    AssignmentState,
    Decision,
    Job,
    Refusal,
    Slot,
)
from registry.crews.queries import (
    AnsweredByVersions,
    Asking,
    answer,
    asking_for_slot,
    employment_problems,
    slot_with_job,
)
from registry.crews.sealing import seal
from registry.database.errors import Problem, RecordRefused, broken, constraint_of, refusals, sqlstate_of
from registry.database.repeating import LOCK_NOT_AVAILABLE, being_changed, repeated, repeating
from registry.engine.bad_input import BadInput
from registry.equipment.models import Crane, Site
from registry.language.amounts import instant
from registry.people.models import Account, Employer

STALE = "decision_rests_on_current_evidence"
Result = TypeVar("Result")


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of an attempt to fill a slot: exactly one of the two is set."""

    decision: Decision
    assignment: Assignment | None = None
    refusal: Refusal | None = None

    @property
    def permitted(self) -> bool:
        """Whether the worker is in the slot now."""
        return self.assignment is not None


@repeating
def plan_job(
    *,
    employer: Employer,
    site: Site,
    crane: Crane,
    operation: str,
    standard_key: str,
    start: datetime,
    end: datetime,
    roles: Sequence[str],
    recorded_at: datetime,
    recorded_by: Account | None,
    configuration: str = "",
    minutes_per_day: int = 480,
    description: str = "",
    supersedes: Job | None = None,
    withdrawn: bool = False,
) -> Job:
    """Record a job with a slot for each of ``roles`` (a role may stand several times).

    With ``supersedes`` it replaces an earlier plan, whose crew then ends there (see
    :func:`change_plan` and :func:`call_off`). Raises :class:`RecordRefused`.
    """
    with refusals(), transaction.atomic():
        job = Job.objects.create(
            employer=employer,
            site=site,
            crane=crane,
            operation=operation,
            configuration=configuration,
            standard_key=standard_key,
            start=start,
            end=end,
            minutes_per_day=minutes_per_day,
            description=description,
            supersedes=supersedes,
            withdrawn=withdrawn,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )
        for role in roles:
            add_slot(job=job, role=role)
    return job


@dataclass(frozen=True, slots=True)
class Replanned:
    """A new plan; who fills a place of it as of the old one, and who does not, each with why."""

    job: Job
    standing: list[Assignment]
    left_out: list[tuple[AssignmentState, str]]


@repeating
def change_plan(
    *,
    job: Job,
    site: Site,
    crane: Crane,
    operation: str,
    standard_key: str,
    start: datetime,
    end: datetime,
    roles: Sequence[str],
    recorded_at: datetime,
    recorded_by: Account | None,
    configuration: str = "",
    minutes_per_day: int = 480,
    description: str = "",
) -> Replanned:
    """Replace the job's plan, and put its people into the same places of the new one, each by a fresh decision.

    Whoever was there for the whole of the old plan is asked about for the whole of the new one. The
    new plan stands whoever is refused; all of it happens, or nothing. Raises :class:`RecordRefused`.
    """
    with refusals(), transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SELECT crews_hold_plan(%s)", [job.pk])
        _check_current(job)
        crew = list(
            AssignmentState.objects.filter(job=job)
            .exclude(standing="ended")
            .select_related("assignment", "slot", "worker")
            .order_by("assignment_id")
        )
        planned = plan_job(
            employer=job.employer,
            site=site,
            crane=crane,
            operation=operation,
            standard_key=standard_key,
            start=start,
            end=end,
            roles=roles,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
            configuration=configuration,
            minutes_per_day=minutes_per_day,
            description=description,
            supersedes=job,
        )
        return _placed_again(planned, job, crew, recorded_at, recorded_by)


def _placed_again(
    planned: Job, job: Job, crew: list[AssignmentState], recorded_at: datetime, recorded_by: Account | None
) -> Replanned:
    """Put the ``crew`` of ``job`` into the places of the plan that replaces it."""
    start, end = planned.start, planned.end
    # A trainee stands beside an erector who stands.
    crew.sort(key=lambda state: state.role == "trainee")
    slots = {(slot.role, slot.position): slot for slot in planned.slots.all()}
    again: dict[int | None, Assignment] = {}
    standing, left_out = [], []
    for state in crew:
        since = start if state.during.lower == job.start else max(start, state.during.lower)
        until = end if state.during.upper == job.end else min(end, state.during.upper)
        slot = slots.get((state.slot.role, state.slot.position))
        if slot is None or until <= since:
            left_out.append((state, _("The new plan has no such place at that time.")))
            continue
        given: dict[str, Any] = {
            "slot_id": slot.pk,
            "worker_id": state.worker_id,
            "start": since,
            "assigned_at": recorded_at,
            "assigned_by": recorded_by,
            "paired_with": again.get(state.assignment.paired_with_id),
        }
        placed, why = _tried(end=until, **given)
        worked_until = min(until, recorded_at.replace(second=0, microsecond=0))
        if placed is None and since < worked_until:
            # What has been worked stays in the place, whatever the documents are worth from now on.
            placed, _why = _tried(end=worked_until, **given)
        if placed is not None:
            again[state.assignment_id] = placed
        if why:
            left_out.append((state, why))
        elif placed is not None:
            standing.append(placed)
    return Replanned(planned, standing, left_out)


def _tried(**given: Any) -> tuple[Assignment | None, str]:
    """The assignment, or why there is none."""
    try:
        outcome = assign(**given)
    except RecordRefused as refused:
        return None, str(refused)
    except BadInput as refused:
        return None, refused.message
    return outcome.assignment, "" if outcome.permitted else _("The documents fall short; see the refused attempts.")


def call_off(*, job: Job, reason: str, recorded_at: datetime, recorded_by: Account | None) -> Job:
    """Record that the job is not done, or not gone on with; its people are free from then on.

    The record that calls it off says why in its description. Raises :class:`RecordRefused`.
    """
    _check_current(job)
    return plan_job(
        employer=job.employer,
        site=job.site,
        crane=job.crane,
        operation=job.operation,
        standard_key=job.standard_key,
        start=job.start,
        end=job.end,
        roles=[],
        recorded_at=recorded_at,
        recorded_by=recorded_by,
        configuration=job.configuration,
        minutes_per_day=job.minutes_per_day,
        description=reason,
        supersedes=job,
        withdrawn=True,
    )


def _check_current(job: Job) -> None:
    if job.withdrawn or Job.objects.filter(supersedes=job).exists():
        raise RecordRefused([broken("job_is_current")])


@repeating
def add_slot(*, job: Job, role: str) -> Slot:
    """One more place in ``role`` on the job's crew. Raises :class:`RecordRefused`."""
    with refusals(), transaction.atomic():
        last = job.slots.filter(role=role).aggregate(last=Max("position"))["last"] or 0
        return Slot.objects.create(job=job, role=role, position=last + 1)


@repeating
def check(*, asking: Asking, decided_at: datetime, decided_by: Account | None) -> Decision:
    """Ask the engine and record its answer, without filling a slot; raises as ``queries.answer``."""
    return _record(answer(asking), decided_at=decided_at, decided_by=decided_by)


def assign(
    *,
    slot_id: int,
    worker_id: int,
    start: datetime,
    end: datetime,
    assigned_at: datetime,
    assigned_by: Account | None,
    paired_with: Assignment | None = None,
) -> Outcome:
    """Put a worker into a slot over ``[start, end)``, or record the refusal.

    Raises :class:`RecordRefused` where the request itself is wrong (outside the
    job's window, somebody else's worker, slot taken, person on another job then) and
    :class:`~registry.engine.bad_input.BadInput` where no standard is in force.
    """
    slot = slot_with_job(slot_id)
    _check_request(slot.job, worker_id, start, end)

    def attempt() -> Outcome:
        asking = asking_for_slot(slot, worker=worker_id, start=start, end=end)
        decision = check(asking=asking, decided_at=assigned_at, decided_by=assigned_by)
        if not decision.permitted:
            refusal = Refusal.objects.create(
                slot=slot, decision=decision, refused_at=assigned_at, refused_to=assigned_by
            )
            return Outcome(decision, refusal=refusal)
        assignment = Assignment.objects.create(
            slot=slot,
            worker_id=worker_id,
            start=start,
            end=end,
            paired_with=paired_with,
            decision=decision,
            assigned_at=assigned_at,
            assigned_by=assigned_by,
        )
        return Outcome(decision, assignment=assignment)

    return _repeated(attempt)


@repeating
def end_assignment(
    *,
    assignment: Assignment,
    ends_at: datetime,
    reason: str,
    recorded_at: datetime,
    recorded_by: Account | None,
) -> AssignmentEvent:
    """Take a worker out of a slot from ``ends_at`` on. Raises :class:`RecordRefused`."""
    state = AssignmentState.objects.select_related("worker", "job__site").get(pk=assignment.pk)
    if state.standing != "ended" and ends_at >= state.during.upper:
        raise RecordRefused([_outside(state, "ends_at")])
    with refusals(), transaction.atomic():
        return AssignmentEvent.objects.create(
            assignment=assignment,
            kind="ended",
            happened_at=ends_at,
            reason=reason,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )


@repeating
def substitute(
    *,
    leaving: Assignment,
    worker_id: int,
    from_instant: datetime | None,
    reason: str,
    assigned_at: datetime,
    assigned_by: Account | None,
) -> Outcome:
    """Swap somebody else into the slot from an instant on: both happen, or neither.

    ``None`` is the minute of ``assigned_at``, or the start of an assignment that is still to come.
    A refused substitute leaves the crew as it was; the refusal is recorded.
    """
    try:
        with transaction.atomic():
            state = AssignmentState.objects.select_related("worker", "job__site").get(pk=leaving.pk)
            start, end = _taken_over(state, from_instant, assigned_at), state.during.upper
            end_assignment(
                assignment=leaving,
                ends_at=start,
                reason=reason,
                recorded_at=assigned_at,
                recorded_by=assigned_by,
            )
            outcome = assign(
                slot_id=leaving.slot_id,
                worker_id=worker_id,
                start=start,
                end=end,
                assigned_at=assigned_at,
                assigned_by=assigned_by,
                paired_with=leaving.paired_with,
            )
            if not outcome.permitted:
                raise _NotSubstituted(outcome)
            return outcome
    except _NotSubstituted as refused:
        # The refusal must outlive the rollback that keeps the crew as it was.
        decision = refused.outcome.decision
        with transaction.atomic():
            again = Decision(statement=decision.statement, seal=decision.seal)
            recorded = _insert(again)
            refusal = Refusal.objects.create(
                slot_id=leaving.slot_id,
                decision=recorded,
                refused_at=assigned_at,
                refused_to=assigned_by,
            )
        return Outcome(recorded, refusal=refusal)


def _taken_over(state: AssignmentState, asked: datetime | None, at: datetime) -> datetime:
    """From when on somebody else is in the place. Raises :class:`RecordRefused` outside the assignment."""
    lower, upper = state.during.lower, state.during.upper
    start = max(at.replace(second=0, microsecond=0), lower) if asked is None else asked
    if lower <= start < upper:
        return start
    if start >= upper and state.assignment.events.filter(kind="ended").exists():
        left_at = instant(upper, ZoneInfo(state.job.site.time_zone))
        raise RecordRefused([broken("nobody_is_replaced_after_leaving", name=state.worker, end=left_at)])
    raise RecordRefused([_outside(state, "start")])


def _outside(state: AssignmentState, field: str) -> Problem:
    zone = ZoneInfo(state.job.site.time_zone)
    during = {"start": instant(state.during.lower, zone), "end": instant(state.during.upper, zone)}
    return broken("a_time_lies_within_the_assignment", field, name=state.worker, **during)


class _NotSubstituted(Exception):
    def __init__(self, outcome: Outcome) -> None:
        self.outcome = outcome


def decide_again(*, assignment: Assignment, decided_at: datetime, decided_by: Account | None) -> Decision:
    """Decide a held assignment anew; it stands again if the answer is permitted, else the refusal is recorded.

    Raises :class:`RecordRefused` where it cannot stand whatever the documents say: the employment
    has ended, the erector of a trainee is gone.
    """
    slot = slot_with_job(assignment.slot_id)

    def attempt() -> Decision:
        during = assignment.state.during
        asking = asking_for_slot(slot, worker=assignment.worker_id, start=during.lower, end=during.upper)
        decision = check(asking=asking, decided_at=decided_at, decided_by=decided_by)
        if decision.permitted:
            AssignmentEvent.objects.create(
                assignment=assignment,
                kind="confirmed",
                decision=decision,
                happened_at=decided_at,
                recorded_at=decided_at,
                recorded_by=decided_by,
            )
        else:
            Refusal.objects.create(slot=slot, decision=decision, refused_at=decided_at, refused_to=decided_by)
        return decision

    return _repeated(attempt)


@dataclass(frozen=True, slots=True)
class DecidedAgain:
    """What became of held assignments: those that stand again, and those that stay held, each with why."""

    standing: list[AssignmentState]
    held: list[tuple[AssignmentState, str]]


def decide_held_again(
    *, employer: Employer, decided_at: datetime, decided_by: Account | None, job: Job | None = None
) -> DecidedAgain:
    """Decide every held assignment of the employer's work that is not over, or of one ``job``, each by itself.

    Hours are recorded every day, and each time whoever rests on them is held.
    """
    held = AssignmentState.objects.filter(
        standing="held",
        job__employer=employer,
        job__withdrawn=False,
        job__superseded_by__isnull=True,
        during__endswith__gt=decided_at,
    )
    if job is not None:
        held = held.filter(job=job)
    found = list(held.select_related("assignment", "slot", "worker", "job__site"))
    # A trainee stands beside an erector who stands.
    found.sort(key=lambda state: (state.role == "trainee", state.job.start, state.assignment_id))
    result = DecidedAgain([], [])
    for state in found:
        try:
            decision = decide_again(assignment=state.assignment, decided_at=decided_at, decided_by=decided_by)
        except RecordRefused as refused:
            result.held.append((state, str(refused)))
            continue
        except BadInput as refused:
            result.held.append((state, refused.message))
            continue
        if decision.permitted:
            result.standing.append(state)
        else:
            result.held.append((state, _("The documents fall short; see the refused attempts.")))
    return result


def _check_request(job: Job, worker_id: int, start: datetime, end: datetime) -> None:
    problems = []
    if end <= start:
        problems.append(broken("assignment_end_is_after_start"))
    zone = ZoneInfo(job.site.time_zone)
    if start < job.start:
        problems.append(broken("assignment_starts_within_the_job", instant=instant(job.start, zone)))
    if end > job.end:
        problems.append(broken("assignment_ends_within_the_job", instant=instant(job.end, zone)))
    if not problems:
        problems = employment_problems(job, worker_id, start, end)
    if problems:
        raise RecordRefused(problems)


def _record(answered: AnsweredByVersions, *, decided_at: datetime, decided_by: Account | None) -> Decision:
    """Store the engine's answer as a sealed statement."""
    asking, given = answered.asking, answered.answer
    statement = json.dumps(
        {
            "worker": asking.worker,
            "role": asking.role,
            "model": asking.model,
            "configuration": asking.configuration,
            "operation": asking.operation,
            "employer": asking.employer,
            "jurisdiction": asking.jurisdiction,
            "start": asking.start.isoformat(),
            "end": asking.end.isoformat(),
            "known_at": None if asking.known_at is None else asking.known_at.isoformat(),
            "outcome": given.outcome,
            "holds_until": None if given.holds_until is None else given.holds_until.isoformat(),
            "standard": answered.standard.pk,
            "evidence_versions": answered.evidence_versions,
            "decided_at": decided_at.isoformat(),
            "decided_by": None if decided_by is None else decided_by.pk,
            # Two answers to one question are two decisions, each of which serves once.
            "once": secrets.token_hex(16),
            "answer": given.as_json(),
        },
        sort_keys=True,
        separators=(",", ":"),
        ensure_ascii=False,
    )
    return _insert(Decision(statement=statement, seal=seal(statement)))


def _insert(decision: Decision) -> Decision:
    """Insert a decision with the columns its statement says (the database checks they agree)."""
    said = json.loads(decision.statement)
    decision.worker_id = said["worker"]
    decision.role = said["role"]
    decision.model_id = said["model"]
    decision.configuration = said["configuration"]
    decision.operation = said["operation"]
    decision.employer_id = said["employer"]
    decision.jurisdiction = said["jurisdiction"]
    decision.start = datetime.fromisoformat(said["start"])
    decision.end = datetime.fromisoformat(said["end"])
    decision.known_at = said["known_at"] and datetime.fromisoformat(said["known_at"])
    decision.outcome = said["outcome"]
    decision.holds_until = said["holds_until"] and datetime.fromisoformat(said["holds_until"])
    decision.standard_id = said["standard"]
    decision.evidence_versions = said["evidence_versions"]
    decision.decided_at = datetime.fromisoformat(said["decided_at"])
    decision.decided_by_id = said["decided_by"]
    decision.save(force_insert=True)
    return decision


def _repeated(attempt: Callable[[], Result]) -> Result:
    """Run an attempt; again on fresh evidence when the database says it was stale, or when another act crossed it."""

    def in_a_transaction() -> Result:
        with transaction.atomic():
            _wait_no_longer_than_people_do()
            return attempt()

    try:
        with refusals():
            return repeated(in_a_transaction, stale=lambda error: constraint_of(error) == STALE)
    except OperationalError as error:
        if sqlstate_of(error) == LOCK_NOT_AVAILABLE:
            raise RecordRefused([being_changed("worker")]) from error
        raise


def _wait_no_longer_than_people_do() -> None:
    """A long import locks the versions of everybody in it; an assignment does not wait for its end."""
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL lock_timeout = '10s'")
