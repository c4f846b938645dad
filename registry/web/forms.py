"""What people type: checked for form here, for substance in the services."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from registry.crews import queries
from registry.crews.models import Assignment, Job, Slot
from registry.database.errors import RecordRefused
from registry.engine.calendar import EARLIEST_YEAR, LATEST_YEAR
from registry.engine.evidence import OPERATIONS, ROLES
from registry.equipment.models import Crane, Site
from registry.language.amounts import instant
from registry.language.said import authored
from registry.language.words import choices_of, in_words
from registry.people.finding import named
from registry.people.models import Worker
from registry.standards.models import StandardVersion

MOST_SHOWN = 30
REPEATED = "repeated"
"""The code of the error that a clock shows a time twice."""


@contextmanager
def refused_beside_fields(form: forms.Form) -> Iterator[None]:
    """Show each problem of a refused record beside its field, and above the form where there is none.

    Where a form asks in other words than the record has, its ``beside`` says which
    of its fields stands for the record's.
    """
    try:
        yield
    except RecordRefused as refused:
        beside: dict[str, str] = getattr(form, "beside", {})
        for problem in refused.problems:
            field = beside.get(problem.field, problem.field)
            form.add_error(field if field in form.fields else None, problem.message)


@dataclass(frozen=True, slots=True)
class People:
    """A list of people narrowed by name; ``more`` says that some are left off."""

    found: list[Worker]
    query: str
    more: bool
    chosen: str


def searched(request: HttpRequest) -> str:
    """What was typed into a page's search, ``?q=``."""
    return (request.POST.get("q") or request.GET.get("q") or "").strip()[:100].replace("\0", "")


def people_named(request: HttpRequest, people: QuerySet[Worker], *, most: int = MOST_SHOWN) -> People:
    """The people whose names contain every word of ``?q=``."""
    query = searched(request)
    for word in query.split():
        people = people.filter(named(word))
    found = list(people[: most + 1])
    return People(found[:most], query, len(found) > most, request.POST.get("worker", ""))


class SiteInstant(forms.DateTimeField):
    """A date and time as read from a clock on the site.

    Years outside ``EARLIEST_YEAR`` to ``LATEST_YEAR`` are slips of the pen.
    """

    widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")

    def to_python(self, value: Any) -> datetime | None:
        """The clock reading without a zone; :func:`at_site` makes it an instant."""
        with timezone.override(None):
            read = super().to_python(value)
        if read is None:
            return None
        if isinstance(value, str) and (typed := parse_datetime(value.strip())) and typed.tzinfo is not None:
            # A clock shows no offset: one that was typed may contradict the site's.
            raise ValidationError(self.error_messages["invalid"], code="invalid")
        if not EARLIEST_YEAR <= read.year <= LATEST_YEAR:
            raise ValidationError(self.error_messages["invalid"], code="invalid")
        return read.replace(tzinfo=None)


class Day(forms.DateField):
    """A day of a year that people enter on purpose, as of :class:`SiteInstant`."""

    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")

    def to_python(self, value: Any) -> date | None:
        """The day; the ends of the calendar are refused, where it has no beginning or end in some zones."""
        read = super().to_python(value)
        if read is not None and not EARLIEST_YEAR <= read.year <= LATEST_YEAR:
            raise ValidationError(self.error_messages["invalid"], code="invalid")
        return read


def at_site(read: datetime | None, zone: str, *, repeated: str = "") -> datetime | None:
    """The instant a clock on the site shows as ``read``.

    Where the clock shows it twice, ``repeated`` says whether the ``first`` or the ``second``
    time is meant. Raises ``ValidationError`` where the clock skips it, or repeats it and
    nothing is said.
    """
    if read is None:
        return None
    first, second = (read.replace(tzinfo=ZoneInfo(zone), fold=fold) for fold in (0, 1))
    if first.utcoffset() == second.utcoffset():
        return first
    if first.astimezone(UTC).astimezone(ZoneInfo(zone)).replace(tzinfo=None) != read:
        sentence = _("The clock on the site is put forward then and never shows this time.")
        raise ValidationError(sentence, code="skipped")
    if not repeated:
        sentence = _("The clock on the site is put back then and shows this time twice.")
        raise ValidationError(sentence, code=REPEATED)
    return second if repeated == "second" else first


class SiteForm(forms.Form):
    """A form whose instants are read from a clock on one site."""

    def __init__(self, *args: Any, job: Job, **options: Any) -> None:
        super().__init__(*args, **options)
        self.job = job

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        for name in [each for each, field in self.fields.items() if isinstance(field, SiteInstant)]:
            try:
                given[name] = at_site(given.get(name), self.job.site.time_zone)
            except ValidationError as error:
                self.add_error(name, error)
        return given


class WindowForm(SiteForm):
    """For which part of a job somebody is looked for; blank times mean the job's whole window."""

    start = SiteInstant(label=_("From"), required=False)
    end = SiteInstant(label=_("Until"), required=False)

    def window(self) -> tuple[datetime, datetime]:
        """What was asked for, as ``[start, end)``; the whole job where that is no part of it."""
        job = self.job
        if not self.is_valid():
            return job.start, job.end
        start, end = self.cleaned_data["start"] or job.start, self.cleaned_data["end"] or job.end
        return (start, end) if job.start <= start < end <= job.end else (job.start, job.end)


class FillForm(SiteForm):
    """Who is to fill a slot; blank times mean the job's whole window."""

    beside = {"slot": "worker"}

    worker = forms.ModelChoiceField(
        Worker.objects.none(),
        label=_("Person"),
        error_messages={
            "required": _("Choose a person."),
            "invalid_choice": _("This person is not on the employer's books."),
        },
    )
    start = SiteInstant(label=_("From"), required=False, help_text=_("Blank: when the job starts."))
    end = SiteInstant(label=_("Until"), required=False, help_text=_("Blank: when the job ends."))
    paired_with = forms.ModelChoiceField(
        Assignment.objects.none(),
        label=_("Paired with the erector"),
        required=False,
        help_text=_("A trainee works only beside a named erector of this crew."),
        error_messages={
            "invalid_choice": _("A trainee must be paired with an erector who is on this crew the whole time.")
        },
    )

    def __init__(self, *args: Any, slot: Slot, **options: Any) -> None:
        super().__init__(*args, job=slot.job, **options)
        self.fields["worker"].queryset = queries.candidates(slot.job)  # type: ignore[attr-defined]
        if slot.role == "trainee":
            pairs = self.fields["paired_with"]
            window = WindowForm(self.data or self.initial, job=slot.job).window()
            pairs.queryset = queries.erectors_throughout(slot.job, *window)  # type: ignore[attr-defined]
            pairs.label_from_instance = self._part  # type: ignore[attr-defined]
        else:
            del self.fields["paired_with"]

    def _part(self, each: Assignment) -> str:
        """The erector with the times of their part: the same person may have two."""
        zone = ZoneInfo(self.job.site.time_zone)
        during = each.state.during
        part = {"name": each.worker, "start": instant(during.lower, zone), "end": instant(during.upper, zone)}
        return gettext("%(name)s, from %(start)s to %(end)s") % part

    def asked(self) -> dict[str, Any]:
        """The arguments of :func:`registry.crews.services.assign`."""
        given = self.cleaned_data
        return {
            "worker_id": given["worker"].pk,
            "start": given["start"] or self.job.start,
            "end": given["end"] or self.job.end,
            "paired_with": given.get("paired_with"),
        }


class EndForm(SiteForm):
    """From when on somebody leaves a slot, and why."""

    ends_at = SiteInstant(label=_("Leaves at"), required=False, help_text=_("Blank: now."))
    reason = forms.CharField(label=_("Reason"), max_length=500)


class FromForm(SiteForm):
    """From when on somebody else is looked for."""

    from_instant = SiteInstant(label=_("From"), required=False)

    def from_when(self, otherwise: datetime) -> datetime:
        """What was asked for, else ``otherwise``."""
        return (self.is_valid() and self.cleaned_data["from_instant"]) or otherwise


class SubstituteForm(SiteForm):
    """Who takes over, from when on, and why."""

    beside = {"start": "from_instant", "end": "from_instant", "slot": "worker"}
    OWN_WORDS = "own_words"
    REASONS = (
        ("did_not_come", _("Did not come")),
        ("taken_ill", _("Taken ill")),
        ("other_work", _("Needed for other work")),
        (OWN_WORDS, _("Another reason, in your own words")),
    )

    worker = forms.ModelChoiceField(
        Worker.objects.none(), label=_("Person"), error_messages={"required": _("Choose a person.")}
    )
    reason = forms.ChoiceField(label=_("Reason"), choices=REASONS, initial="did_not_come", widget=forms.RadioSelect)
    own_words = forms.CharField(label=_("The reason in your own words"), max_length=500, required=False)
    from_instant = SiteInstant(label=_("From"), required=False, help_text=_("Blank: now, or when the job starts."))

    def __init__(self, *args: Any, job: Job, leaving: int, **options: Any) -> None:
        super().__init__(*args, job=job, **options)
        self.fields["worker"].queryset = queries.candidates(job).exclude(pk=leaving)  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        given = super().clean()
        if given.get("reason") == self.OWN_WORDS and not given.get("own_words"):
            self.add_error("own_words", _("Say the reason."))
        return given

    def reason_in_words(self) -> str:
        """The reason as it is recorded, in the language of whoever gives it."""
        given = self.cleaned_data
        return given["own_words"] if given["reason"] == self.OWN_WORDS else str(dict(self.REASONS)[given["reason"]])


def to_choose(choices: Iterable[tuple[str, Any]]) -> list[tuple[str, Any]]:
    """The choices of a list on which nothing is chosen beforehand: what decides is said by a person."""
    return [("", _("Choose")), *choices]


class PlanForm(forms.Form):
    """A job to plan: one operation on one crane, with so many places in each role."""

    site = forms.ModelChoiceField(Site.objects.order_by("name"), label=_("Site"))
    crane = forms.ModelChoiceField(
        Crane.objects.select_related("model__maker").order_by("model__designation", "serial_number"), label=_("Crane")
    )
    operation = forms.ChoiceField(label=_("Operation"), choices=to_choose(choices_of(OPERATIONS)))
    configuration = forms.CharField(label=_("Configuration"), required=False, max_length=100)
    standard_key = forms.ChoiceField(label=_("Role standard"))
    start = SiteInstant(label=_("Starts"), help_text=_("By a clock on the site."))
    end = SiteInstant(label=_("Ends"), help_text=_("By a clock on the site."))
    minutes_per_day = forms.IntegerField(label=_("Minutes of work a day"), initial=480, min_value=1, max_value=1440)
    description = forms.CharField(
        label=_("What is to be done"), required=False, max_length=5000, widget=forms.Textarea(attrs={"rows": 3})
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        versions = StandardVersion.objects.order_by("key", "-version").distinct("key")
        self.fields["standard_key"].choices = to_choose((each.key, authored(each.title)) for each in versions)  # type: ignore[attr-defined]
        for role in ROLES:
            if role != "assessor":
                self.fields[f"places_{role}"] = forms.IntegerField(
                    label=in_words(role), required=False, min_value=0, max_value=20
                )

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if "site" in given:
            for name in ("start", "end"):
                try:
                    given[name] = at_site(given.get(name), given["site"].time_zone)
                except ValidationError as error:
                    self.add_error(name, error)
        first = self.places()[0].name
        if not self._roles() and not any(each.name in self.errors for each in self.places()):
            self.add_error(first, _("Ask for at least one person."))
        return given

    def places(self) -> list[forms.BoundField]:
        """The fields that say how many people are needed in each role."""
        return [self[each] for each in self.fields if each.startswith("places_")]

    def planned(self) -> dict[str, Any]:
        """The arguments of :func:`registry.crews.services.plan_job`."""
        own = {key: value for key, value in self.cleaned_data.items() if not key.startswith("places_")}
        return {**own, "roles": self._roles()}

    def _roles(self) -> list[str]:
        given = self.cleaned_data
        return [role for role in ROLES for _each in range(given.get(f"places_{role}") or 0)]


def planned_before(job: Job) -> dict[str, Any]:
    """What a plan form shows of the plan that is to be changed, by a clock on its site."""
    zone = ZoneInfo(job.site.time_zone)
    roles = Counter(job.slots.values_list("role", flat=True))
    return {
        "site": job.site_id,
        "crane": job.crane_id,
        "operation": job.operation,
        "configuration": job.configuration,
        "standard_key": job.standard_key,
        "start": job.start.astimezone(zone).replace(tzinfo=None),
        "end": job.end.astimezone(zone).replace(tzinfo=None),
        "minutes_per_day": job.minutes_per_day,
        "description": job.description,
        **{f"places_{role}": places for role, places in roles.items()},
    }


class CallOffForm(forms.Form):
    """Why a job is called off."""

    reason = forms.CharField(label=_("Reason"), max_length=500)
