"""Who cannot possibly be permitted, told for many people at once by the database.

For each requirement the sieve asks for what is *necessary*: a certificate in force when the
window starts and when it ends, hours on record that add up to the minimum before anything is
taken off them, a passed assessment whoever gave it. What it refuses, ``decide`` refuses; what it
lets through, ``decide`` must still be asked. Both together give the engine's own answer for
everybody while the engine is asked about few (:mod:`registry.crews.candidates`).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from django.contrib.postgres.aggregates import BoolOr
from django.contrib.postgres.fields import ArrayField
from django.db.models import Exists, ExpressionWrapper, F, Func, OuterRef, Q, QuerySet, Sum, TextField, Value
from django.db.models.fields import BooleanField, DurationField

from registry.crews.models import Job
from registry.engine.calendar import INSTANT, MINUTE, local_date, months_before, start_of_day
from registry.engine.harmless import folded
from registry.engine.requirements.appointment import Appointed
from registry.engine.requirements.assessment import PracticalAssessment
from registry.engine.requirements.certificate import Certified
from registry.engine.requirements.hours import Hours
from registry.engine.requirements.instruction import Instructed
from registry.engine.requirements.language import SharedLanguage
from registry.engine.requirements.leaf import Leaf, of_kind
from registry.engine.requirements.no_stand_down import NoStandDown
from registry.engine.standard import RoleStandard
from registry.engine.tree import Group, Node
from registry.equipment.models import CraneModel, FamilyDeclaration
from registry.evidence.models import (
    Appointment,
    Assessment,
    Certification,
    Countersignature,
    HoursEntry,
    Instruction,
    StandDown,
    StandDownSuspension,
)
from registry.people.models import LanguageSkill, Worker

WIDEST_APART = timedelta(hours=26)
"""The clocks of two places differ by no more: from 14 hours ahead of UTC to 12 behind (IANA time zone database)."""


@dataclass(frozen=True, slots=True)
class Missing:
    """A requirement that cannot be met; ``at_most`` are the minutes on record, for hours only."""

    leaf: Leaf
    at_most: int | None = None


class Met(NamedTuple):
    """Which requirements can be met when the window starts, and at its end, by key."""

    at_start: Mapping[str, bool]
    at_end: Mapping[str, bool]


@dataclass(slots=True)
class Sieve:
    """One role standard asked of many people, for work on one job over ``[start, end)``.

    ``job`` must come with its site and its crane's model. :meth:`met` asks for everything but
    hours, :meth:`minutes` reads hours, of fewer people; :meth:`missing` puts both together.
    """

    role: RoleStandard
    job: Job
    start: datetime
    end: datetime
    _models: dict[str, frozenset[int]] = field(default_factory=dict)

    def met(self, people: Collection[Worker]) -> dict[Worker, Met]:
        """Which requirements other than hours each of them can meet when the window starts, and at its end.

        One statement.

        One or two more where a requirement counts models of a class or family.
        """
        leaves = [leaf for leaf in self.role.leaves() if type(leaf) in SIFTED]
        numbers = [each.pk for each in people]
        looked_up = [self._looked_up(leaf, numbers) for leaf in leaves]
        found: list[dict[str, set[int]]] = [{leaf.key: set() for leaf in leaves} for _ in Met._fields]
        if looked_up:
            # Each branch names the people it looks up: the planner then goes by index, not through the whole table.
            for worker, at_start, at_end, key in looked_up[0].union(*looked_up[1:], all=True):
                for then, holds in zip(found, (at_start, at_end), strict=True):
                    if holds:
                        then[key].add(worker)
        for leaf in leaves:
            if SIFTED[type(leaf)].bars:
                for then in found:
                    then[leaf.key] = set(numbers) - then[leaf.key]
        return {each: Met(*({key: each.pk in who for key, who in then.items()} for then in found)) for each in people}

    def minutes(self, people: Collection[Worker]) -> dict[int, dict[str, int]]:
        """Minutes on record that could count for each requirement of hours, by worker and key. One statement.

        Before overlaps, caps and pauses take any away; everybody asked about is in it.
        """
        leaves = self._hours()
        found = {each.pk: dict.fromkeys(leaves, 0) for each in people}
        if not leaves:
            return found
        signed = Exists(Countersignature.objects.filter(entry=OuterRef("pk")))
        entries = HoursEntry.objects.current().filter(signed | Q(origin="import"), worker__among=list(found))
        length = ExpressionWrapper(F("end") - F("start"), output_field=DurationField())
        sums = {
            f"sum_{place}": Sum(length, filter=self._worked(leaf), default=None)
            for place, leaf in enumerate(leaves.values())
        }
        rows: Iterable[Any] = entries.values("worker").annotate(**sums)
        for row in rows:
            found[row["worker"]] = {
                key: (row[name] or timedelta()) // MINUTE for key, name in zip(leaves, sums, strict=True)
            }
        return found

    def missing(self, met: Met, minutes: Mapping[str, int] | None = None) -> list[Missing]:
        """The fewest requirements whose lack refuses somebody; none where all may be in order.

        What is lacking when the window starts, else at its end: of an "any of" one branch may
        hold at first and another later. Without ``minutes`` the hours are taken to be there, as
        they are at the end, when more may have been worked.
        """
        reached = {}
        if minutes is not None:
            reached = {key: minutes[key] >= leaf.minimum for key, leaf in self._hours().items()}
        at_start = _missing(self.role.requirement, {**met.at_start, **reached}, minutes or {})
        return at_start or _missing(self.role.requirement, met.at_end, {})

    # Hours

    def _hours(self) -> dict[str, Hours]:
        return {leaf.key: leaf for leaf in of_kind(Hours, self.role.leaves())}

    def _worked(self, leaf: Hours) -> Q:
        counts = Q(
            model__in=self.models_in(leaf.scope),
            operation__in=leaf.operations or {self.job.operation},
            start__lt=self.start,
        )
        if leaf.capacity is not None:
            counts &= Q(capacity=leaf.capacity)
        if leaf.scope == "configuration":
            counts &= Q(configuration=self.job.configuration)
        if leaf.within_months is not None:
            # The engine goes by the clock of the site of each entry, this by the clock of the job's.
            counts &= Q(end__gt=self.months_back(self.start, leaf.within_months) - WIDEST_APART)
        return counts

    # Everything else

    def _looked_up(self, leaf: Leaf, people: Collection[int]) -> QuerySet[Any, tuple[int, bool, bool, str]]:
        """``(worker, when the window starts, at its end, key)`` of the people whose records may meet the leaf.

        Where records bar, those who are barred.
        """
        sifted = SIFTED[type(leaf)]
        at_start, at_end = (
            BoolOr(sifted.condition(self, leaf, instant)) for instant in (self.start, self.end - INSTANT)
        )
        by_worker = sifted.records.objects.current().filter(worker__among=people).order_by().values("worker")
        found: QuerySet[Any, Any] = by_worker.annotate(at_start=at_start, at_end=at_end)
        return found.values_list("worker", "at_start", "at_end", Value(leaf.key, output_field=TextField()))

    # Circumstances

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.job.site.time_zone)

    def months_back(self, instant: datetime, months: int) -> datetime:
        """The first instant that is still within ``months`` calendar months before ``instant``."""
        return start_of_day(months_before(local_date(instant, self.zone), months), self.zone)

    def models_in(self, scope: str) -> frozenset[int]:
        """Crane models that count in ``scope``, whenever a declaration was in force."""
        if scope not in self._models:
            self._models[scope] = self._find_models(scope)
        return self._models[scope]

    def _find_models(self, scope: str) -> frozenset[int]:
        model = self.job.crane.model
        if scope in ("model", "configuration"):
            return frozenset({model.pk})
        if scope == "family":
            declared = FamilyDeclaration.objects.current().filter(models_declared__contains=[model.pk])
            return frozenset({model.pk}).union(*declared.values_list("models_declared", flat=True))
        models = (
            CraneModel.objects.all() if scope == "any" else CraneModel.objects.filter(crane_class=model.crane_class)
        )
        return frozenset(models.values_list("pk", flat=True))


# What is necessary for each kind of requirement


def _assessed(sieve: Sieve, leaf: PracticalAssessment, instant: datetime) -> Q:
    given = Q(
        kind="practical",
        outcome="pass",
        role=leaf.role or sieve.role.role,
        model__in=sieve.models_in(leaf.scope),
        operations__overlap=sorted(leaf.operations or {sieve.job.operation}),
        assessed_at__lte=instant,
    )
    if leaf.scope == "configuration":
        given &= Q(configuration=sieve.job.configuration)
    if leaf.within_months is not None:
        given &= Q(assessed_at__gte=sieve.months_back(instant, leaf.within_months))
    return given


def _certified(sieve: Sieve, leaf: Certified, instant: datetime) -> Q:
    model = sieve.job.crane.model
    day = local_date(instant, sieve.zone)
    held = Q(Q(expires__isnull=True) | Q(expires__gte=day), _spelled_as("scheme", leaf.schemes), issued__lte=day)
    if leaf.scope:
        held &= Q(scope__contains=sorted(leaf.scope))
    if leaf.covers == "model":
        held &= Q(covers_models__contains=[model.pk])
    elif leaf.covers == "class":
        held &= Q(covers_models__contains=[model.pk]) | Q(covers_classes__contains=[model.crane_class])
    return held


def _instructed(sieve: Sieve, leaf: Instructed, instant: datetime) -> Q:
    given = Q(_spelled_as("topic", [leaf.topic]), completed_at__lte=instant)
    if leaf.providers:
        given &= Q(provider__in=leaf.providers)
    if leaf.scope == "model":
        given &= Q(model=sieve.job.crane.model_id)
    if leaf.within_months is not None:
        given &= Q(completed_at__gte=sieve.months_back(instant, leaf.within_months))
    return given


def _appointed(sieve: Sieve, leaf: Appointed, instant: datetime) -> Q:
    act = Q(
        _spelled_as("duty", [leaf.duty]),
        Q(model__isnull=True) | Q(model=sieve.job.crane.model_id),
        Q(end__isnull=True) | Q(end__gt=instant),
        Q(kind="maker_instructor", maker=sieve.job.crane.model.maker_id) | Q(employer=sieve.job.employer_id),
        kind__in=leaf.kinds,
        start__lte=instant,
    )
    if leaf.stop_work_authority:
        act &= Q(stop_work_authority=True)
    return act


def _barred(sieve: Sieve, leaf: NoStandDown, instant: datetime) -> Q:
    """A stand-down that nothing can have lifted or suspended: there was no retraining after any."""
    retrained = Instruction.objects.current().filter(worker=OuterRef("worker"), after_stand_down__isnull=False)
    suspended = StandDownSuspension.objects.current().filter(worker=OuterRef("worker"))
    return Q(
        ~Exists(retrained),
        ~Exists(suspended),
        Q(employer__isnull=True) | Q(employer=sieve.job.employer_id),
        Q(model__isnull=True) | Q(model=sieve.job.crane.model_id),
        role__in=("", sieve.role.role),
        start__lt=sieve.end,
    )


def _spoken(sieve: Sieve, leaf: SharedLanguage, instant: datetime) -> Q:
    return Q(language__in=leaf.languages or {sieve.job.site.working_language})


@dataclass(frozen=True, slots=True)
class Sifted:
    """The records by which a requirement of one kind may be met, and what must hold of one at an instant.

    ``bars``: the records are those that bar somebody, and the condition what nothing undoes.
    """

    records: Any
    condition: Callable[[Sieve, Any, datetime], Q]
    bars: bool = False


SIFTED: dict[type[Leaf], Sifted] = {
    PracticalAssessment: Sifted(Assessment, _assessed),
    Certified: Sifted(Certification, _certified),
    Instructed: Sifted(Instruction, _instructed),
    Appointed: Sifted(Appointment, _appointed),
    SharedLanguage: Sifted(LanguageSkill, _spoken),
    NoStandDown: Sifted(StandDown, _barred, bars=True),
}
"""What the database tells of each kind but hours, which it adds up. A kind that is not here rules nobody out."""


def _spelled_as(column: str, names: Iterable[str]) -> Func:
    """Whether the column may hold one of the names as the engine compares them (``sql/spelling.sql``)."""
    return Func(
        F(column),
        Value([folded(each) for each in names], output_field=ArrayField(TextField())),
        function="registry_may_be_spelled_as",
        output_field=BooleanField(),
    )


def _missing(root: Node, met: Mapping[str, bool], minutes: Mapping[str, int]) -> list[Missing]:
    """The fewest leaves whose lack refuses the tree; what ``met`` does not name counts as met."""

    def of_leaf(leaf: Leaf) -> list[Missing]:
        return [] if met.get(leaf.key, True) else [Missing(leaf, minutes.get(leaf.key))]

    def of_group(group: Group, lacks: list[list[Missing]]) -> list[Missing]:
        unmet = sorted(filter(None, lacks), key=len)
        short = group.count - (len(lacks) - len(unmet))
        return [missing for lack in unmet[: max(short, 0)] for missing in lack]

    return root.fold(of_leaf, of_group)
