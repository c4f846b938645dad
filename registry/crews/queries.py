"""Reading jobs, crews and candidates; asking the engine on the register's evidence."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.contrib.postgres.fields import DateRangeField
from django.db import connection
from django.db.backends.postgresql.psycopg_any import DateRange, DateTimeTZRange
from django.db.models import Aggregate, F, Func, QuerySet, Value
from django.utils.translation import gettext as _

from registry.crews.models import Assignment, AssignmentState, Job, Slot
from registry.database.errors import Problem, broken
from registry.database.readers import as_the_register
from registry.engine.answer import Decision as Answer
from registry.engine.bad_input import BadInput
from registry.engine.calendar import INSTANT, local_date
from registry.engine.crew import Crew, CrewFinding, Member, OtherWork, crew_findings
from registry.engine.decide import decide
from registry.engine.evidence import Evidence
from registry.engine.intervals import Timeline
from registry.engine.question import Question
from registry.engine.standard import Standard
from registry.evidence.queries import direct_signers, evidence_for, signer_closure
from registry.language.amounts import day as written_day
from registry.language.said import authored, finding_in_language
from registry.people.models import Employment, LanguageSkill, Worker
from registry.standards.models import StandardVersion
from registry.standards.queries import StandardHistory, history_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Asking:
    """A question in the register's own terms: database identifiers, one job's circumstances.

    ``start`` and ``end`` are aware instants; ``known_at`` ``None`` is the latest.
    """

    worker: int
    role: str
    model: int
    configuration: str
    operation: str
    employer: int
    jurisdiction: str
    time_zone: str
    working_language: str
    standard_key: str
    start: datetime
    end: datetime
    known_at: datetime | None = None

    def question(self) -> Question:
        """The engine's question."""
        return Question(
            worker=f"worker:{self.worker}",
            role=self.role,
            model=f"model:{self.model}",
            operation=self.operation,
            employer=f"employer:{self.employer}",
            jurisdiction=self.jurisdiction,
            start=self.start,
            end=self.end,
            zone=ZoneInfo(self.time_zone),
            configuration=self.configuration or None,
            working_language=self.working_language or None,
            known_at=self.known_at,
        )


@dataclass(frozen=True, slots=True)
class Answered:
    """The engine's answer with what it rests on."""

    asking: Asking
    answer: Answer
    standard: StandardVersion


@dataclass(frozen=True, slots=True)
class AnsweredByVersions(Answered):
    """With the version of every subject whose evidence was looked at, so that it can be recorded as a decision."""

    evidence_versions: dict[str, int]


def asking_for_slot(
    slot: Slot, *, worker: int, start: datetime, end: datetime, known_at: datetime | None = None
) -> Asking:
    """The question whether ``worker`` may fill ``slot`` over ``[start, end)``.

    ``slot.job`` must come with its site and crane (see :func:`slot_with_job`).
    """
    job = slot.job
    return Asking(
        worker=worker,
        role=slot.role,
        model=job.crane.model_id,
        configuration=job.configuration,
        operation=job.operation,
        employer=job.employer_id,
        jurisdiction=job.site.jurisdiction,
        time_zone=job.site.time_zone,
        working_language=job.site.working_language,
        standard_key=job.standard_key,
        start=start,
        end=end,
        known_at=known_at,
    )


def slot_with_job(slot_id: int) -> Slot:
    """The slot with its job, site and crane in one statement."""
    return Slot.objects.select_related("job__site", "job__crane").get(pk=slot_id)


@as_the_register()
def answer(asking: Asking) -> AnsweredByVersions:
    """Ask the engine on the register's evidence.

    Of those who signed, at first only what needs no signature is read: mostly
    that settles them. Where a signature is found wanting on it, everybody whose
    signature stands behind the worker's records is read whole. Raises
    :class:`BadInput` where no standard is in force.
    """
    version, standard = standard_for(asking)
    if asking.known_at is None:
        signers = direct_signers(asking.worker)
        answered = _answer(asking, version, standard, whole={asking.worker}, grounds=signers)
        if not answered.answer.doubted_signers:
            return answered
    everybody = signer_closure(asking.worker)
    return _answer(asking, version, standard, whole=everybody, grounds=set())


@as_the_register()
def answers(askings: Sequence[Asking], standard: Standard) -> dict[int, Answer]:
    """The engine's answers about several workers, by worker, by what the register knows now.

    The askings differ in nothing but the worker, and ``standard`` is the one in force for them
    (:func:`standard_for`). One reading of the evidence, and a second where a signature is found
    wanting (see :func:`answer`).
    """
    if not askings:
        return {}
    workers = {each.worker for each in askings}
    found = _answers(askings, standard, whole=workers, grounds=direct_signers(*workers))
    doubted = [each for each in askings if found[each.worker].doubted_signers]
    if doubted:
        found |= _answers(doubted, standard, whole=signer_closure(*(each.worker for each in doubted)), grounds=set())
    return found


def _answers(askings: Sequence[Asking], standard: Standard, *, whole: set[int], grounds: set[int]) -> dict[int, Answer]:
    evidence = evidence_for(worker_ids=sorted(whole), grounds_of=sorted(grounds - whole))
    return {each.worker: decide(evidence, standard, each.question()) for each in askings}


def answer_from(evidence: Evidence, asking: Asking, history: StandardHistory) -> Answered:
    """The engine's answer on evidence that was read before: of the worker and everybody behind, whole.

    Raises :class:`BadInput` where no standard is in force.
    """
    version, standard = standard_by(history, asking)
    return Answered(asking, decide(evidence, standard, asking.question()), version)


def standard_for(asking: Asking) -> tuple[StandardVersion, Standard]:
    """The standard version in force when the window starts, with the employer's figures. Raises :class:`BadInput`."""
    return standard_by(history_of(asking.standard_key, asking.employer), asking)


def standard_by(history: StandardHistory, asking: Asking) -> tuple[StandardVersion, Standard]:
    """:func:`standard_for` from a history that was read before."""
    return _in_force(history, local_date(asking.start, ZoneInfo(asking.time_zone)), asking.known_at)


def _in_force(history: StandardHistory, day: date, known_at: datetime | None) -> tuple[StandardVersion, Standard]:
    version = history.in_force(day, known_at)
    if version is None:
        sentence = _("No version of the role standard %(key)s is in force on %(day)s.")
        raise BadInput("$.standard", sentence % {"key": history.key, "day": written_day(day)})
    return version, history.parsed(version, history.figures(known_at), known_at)


def _answer(
    asking: Asking, version: StandardVersion, standard: Standard, *, whole: set[int], grounds: set[int]
) -> AnsweredByVersions:
    # The versions are read before the evidence: what changes in between makes
    # them stale, never the other way round.
    current = evidence_versions(whole | grounds)
    evidence = evidence_for(worker_ids=sorted(whole), grounds_of=sorted(grounds), known_at=asking.known_at)
    subjects = {
        *evidence.people,
        f"model:{asking.model}",
        *(entry.model for entry in evidence.hours),
        *(given.model for given in evidence.assessments),
        f"employer:{asking.employer}",
        f"standard:{asking.standard_key}",
    }
    versions = {subject: current.get(subject, 0) for subject in sorted(subjects)}
    return AnsweredByVersions(asking, decide(evidence, standard, asking.question()), version, versions)


def evidence_versions(workers: Iterable[int]) -> dict[str, int]:
    """Current versions of some workers and of everything that is no worker; absent means 0."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT subject, version FROM evidence_evidenceversion"
            " WHERE subject = ANY(%s) OR subject >= 'a' AND subject < 'worker:'",
            [[f"worker:{each}" for each in workers]],
        )
        return dict(cursor.fetchall())


# Jobs and crews


def current_jobs() -> QuerySet[Job]:
    """Jobs that no later plan replaces."""
    return every_plan().filter(superseded_by__isnull=True, withdrawn=False)


def every_plan() -> QuerySet[Job]:
    """Jobs as they were ever planned, whether or not a later record replaces the plan or calls it off."""
    return Job.objects.select_related("site", "crane__model__maker", "employer").order_by("start", "id")


def latest_of(job: Job) -> Job:
    """The last record of the job: its current plan, or the one that calls it off."""
    while later := every_plan().filter(supersedes=job).first():
        job = later
    return job


@dataclass(frozen=True, slots=True)
class SlotView:
    """A slot with the assignments that are or were in it."""

    slot: Slot
    title: str
    assignments: list[AssignmentState]

    @property
    def filled(self) -> bool:
        """Whether somebody stands in it for the whole window of the job."""
        standing = (each.during for each in self.assignments if each.standing == "standing")
        job = self.slot.job
        return Timeline.of((each.lower, each.upper) for each in standing).first_gap(job.start, job.end) is None

    @property
    def held(self) -> bool:
        """Whether an assignment in it is held."""
        return any(each.standing == "held" for each in self.assignments)

    @property
    def state(self) -> str:
        """``stands``, ``held`` or ``open``."""
        if self.filled:
            return "stands"
        return "held" if self.held else "open"


@dataclass(frozen=True, slots=True)
class CrewView:
    """What the page of a job shows, in the language in force; ``ready`` when every crew rule is met."""

    job: Job
    standard: Standard
    slots: list[SlotView]
    findings: tuple[CrewFinding, ...]

    @property
    def ready(self) -> bool:
        """Whether the whole crew is in order."""
        return all(each.met for each in self.findings)


def standard_of(job: Job) -> Standard:
    """The role standard in force when the job starts, with its employer's figures. Raises :class:`BadInput`."""
    return standard_of_job(history_of(job.standard_key, job.employer_id), job)


def standard_of_job(history: StandardHistory, job: Job, known_at: datetime | None = None) -> Standard:
    """:func:`standard_of` from a history that was read before, by what was known at an instant."""
    _version, standard = _in_force(history, local_date(job.start, ZoneInfo(job.site.time_zone)), known_at)
    return standard


@as_the_register()
def crew_of(job: Job) -> CrewView:
    """The crew of a job and the crew rules, in a fixed number of statements."""
    slots = list(job.slots.order_by("id"))
    states = list(
        AssignmentState.objects.filter(job=job)
        .exclude(standing="ended")
        .select_related("assignment__paired_with__worker", "worker", "decision", "job")
        .order_by("during", "assignment_id")
    )
    elsewhere = (
        AssignmentState.objects.filter(worker__in={each.worker_id for each in states})
        .exclude(standing="ended")
        .exclude(job=job)
        .select_related("assignment", "worker", "job__site", "job__crane__model__maker")
    )
    standard = standard_of(job)
    here = [Stay.of(each) for each in states]
    skills = LanguageSkill.objects.current().filter(worker__in={each.worker.pk for each in here})
    spoken = skills.values_list("worker_id", "language")
    crew = crew_from(job, slots, here, map(Stay.of, elsewhere), spoken)
    return CrewView(
        job,
        standard,
        [
            SlotView(
                slot,
                authored(standard.title_of(slot.role)),
                [each for each in states if each.slot_id == slot.pk],
            )
            for slot in slots
        ],
        tuple(map(finding_in_language, crew_findings(standard, crew))),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """Somebody in a slot of a job over ``[start, end)``."""

    assignment: int
    worker: Worker
    slot: int
    job: Job
    paired_with: int | None
    start: datetime
    end: datetime
    held: bool

    @classmethod
    def of(cls, state: AssignmentState) -> Stay:
        """The stay as it stands now."""
        return cls(
            assignment=state.assignment_id,
            worker=state.worker,
            slot=state.slot_id,
            job=state.job,
            paired_with=state.assignment.paired_with_id,
            start=state.during.lower,
            end=state.during.upper,
            held=state.standing == "held",
        )


def _other_work(elsewhere: Iterable[Stay]) -> Iterator[OtherWork]:
    """Each person's time on each other job, once however many places of it they fill."""
    stays: dict[tuple[int, int], list[Stay]] = defaultdict(list)
    for each in elsewhere:
        stays[each.worker.pk, each.job.pk].append(each)
    for (worker, _job), on_job in stays.items():
        job = on_job[0].job
        for start, end in Timeline.of((each.start, each.end) for each in on_job).intervals:
            yield OtherWork(worker=str(worker), job=str(job), start=start, end=end, minutes_per_day=job.minutes_per_day)


def crew_from(
    job: Job,
    slots: Iterable[Slot],
    here: Iterable[Stay],
    elsewhere: Iterable[Stay],
    spoken: Iterable[tuple[int, str]],
) -> Crew:
    """The crew as the crew rules see it: who is here, who is elsewhere too, and which worker speaks which language."""
    here = list(here)
    languages: dict[int, set[str]] = defaultdict(set)
    for worker, language in spoken:
        languages[worker].add(language)
    role_of = {slot.pk: slot.role for slot in slots}
    return Crew(
        start=job.start,
        end=job.end,
        zone=ZoneInfo(job.site.time_zone),
        minutes_per_day=job.minutes_per_day,
        slots={str(slot): role for slot, role in role_of.items()},
        members=tuple(
            Member(
                key=str(each.assignment),
                worker=str(each.worker.pk),
                name=str(each.worker),
                role=role_of[each.slot],
                slot=str(each.slot),
                start=each.start,
                end=each.end,
                held=each.held,
                paired_with=None if each.paired_with is None else str(each.paired_with),
                languages=frozenset(languages[each.worker.pk]),
            )
            for each in here
        ),
        other_work=tuple(_other_work(elsewhere)),
        working_language=job.site.working_language or None,
    )


def candidates(job: Job) -> QuerySet[Worker]:
    """The employer's own people, in the order of their names."""
    return (
        Worker.objects.filter(
            employments__employer=job.employer_id,
            employments__superseded_by__isnull=True,
            employments__withdrawn=False,
            employments__start__lte=job.end,
        )
        .distinct()
        .order_by("family_name", "given_name", "id")
    )


def erectors_throughout(job: Job, start: datetime, end: datetime) -> QuerySet[Assignment]:
    """Who stands as an erector of the crew for all of ``[start, end)``, to pair a trainee with."""
    return (
        Assignment.objects.filter(slot__job=job, slot__role="erector", state__standing="standing")
        .filter(state__during__contains=DateTimeTZRange(start, end))
        .select_related("worker", "state")
        .order_by("worker__family_name", "worker__given_name", "id")
    )


def employed_throughout(job: Job, start: datetime, end: datetime) -> QuerySet[Worker]:
    """Whom the job's employer employs for all of ``[start, end)``, by the site's days.

    One employment may follow upon another.
    """
    zone = ZoneInfo(job.site.time_zone)
    days = DateRange(local_date(start, zone), local_date(end - INSTANT, zone), "[]")
    employments = Employment.objects.current().filter(employer=job.employer_id).order_by().values("worker")
    each = Func(F("start"), F("end"), Value("[]"), function="daterange")
    together = Aggregate(each, function="range_agg", output_field=DateRangeField())
    employed = employments.annotate(together=together).filter(together__contains=days)
    return Worker.objects.filter(pk__in=employed.values("worker"))


def employment_problems(job: Job, worker_id: int, start: datetime, end: datetime) -> list[Problem]:
    """Why the worker is not the employer's to assign, by the site's days."""
    if employed_throughout(job, start, end).filter(pk=worker_id).exists():
        return []
    return [broken("worker_is_employed_by_the_jobs_employer")]
