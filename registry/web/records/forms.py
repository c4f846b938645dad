"""What people type into the pages for records: checked for form here, for substance in the services."""

from __future__ import annotations

import base64
import binascii
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from hashlib import sha256
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.http import QueryDict
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from registry.crews.access import readable
from registry.crews.models import AssignmentState, Job
from registry.crews.standing_down import occasions_of
from registry.database.errors import RecordRefused
from registry.engine.calendar import local_date
from registry.engine.evidence import OPERATIONS, ROLES
from registry.equipment.models import Crane, CraneModel, Maker, Site
from registry.evidence.apart.running import Stopped, turn
from registry.evidence.importing import FileRefused, ImportOptions, TableReading
from registry.evidence.importing.columns import Field
from registry.evidence.importing.kind import Kind
from registry.evidence.importing.preview import Heading
from registry.evidence.importing.values import DAY_FIRST, MONTH_FIRST
from registry.evidence.importing.words import field_in_words
from registry.evidence.kinds import kind_of
from registry.evidence.models import (
    Appointment,
    Assessment,
    Certification,
    CertificationStatus,
    Document,
    Instruction,
    StandDown,
)
from registry.evidence.services import NewHours
from registry.evidence.uploads import PNG, TABLES, inspect_upload, keep_upload, owner_of
from registry.language.amounts import amount
from registry.language.amounts import day as written_day
from registry.language.words import choices_of
from registry.people.consent import person_who_fits
from registry.people.lookalikes import Lookalike, alike_in_words
from registry.people.models import Account, Employer, Worker
from registry.web.forms import REPEATED, Day, SiteInstant, at_site, to_choose
from registry.web.limits import ASKED_TOO_OFTEN
from registry.web.records.fields import (
    AskedForField,
    ClockForm,
    LanguageField,
    PersonField,
    ScanField,
    ScanForm,
    find_people,
)

FIRST_LINES = 12
MORE_LINES = 8
MOST_LINES = 60
NO_OCCASION = "none"
TASK_LINES = 6
LARGEST_DRAWING = 300_000
DRAWING = re.compile(r"data:image/png;base64,([A-Za-z0-9+/=]+)")
ENCODINGS = [
    ("", _("Unicode (UTF-8 or UTF-16)")),
    ("cp1252", _("Western European (cp1252)")),
    ("cp1250", _("Central European (cp1250)")),
    ("cp1251", _("Cyrillic (cp1251)")),
    ("cp1253", _("Greek (cp1253)")),
    ("cp1254", _("Turkish (cp1254)")),
    ("cp1257", _("Baltic (cp1257)")),
    ("iso8859-15", _("Western European (ISO 8859-15)")),
    ("cp850", _("Western European (cp850)")),
    ("mac-roman", _("Western European (Mac Roman)")),
    ("cp932", _("Japanese (cp932)")),
    ("gb18030", _("Chinese (GB 18030)")),
    ("cp949", _("Korean (cp949)")),
]
"""Of the tables that people hand in; the command ``import_records`` knows more."""
ROW = re.compile(r"rows\[(\d+)\]\.(\w*)")

OPERATION_CHOICES = choices_of(OPERATIONS)
ROLE_CHOICES = choices_of(ROLES)


def _clock_time(**options: Any) -> forms.TimeField:
    return forms.TimeField(widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"), **options)


def _models() -> QuerySet[CraneModel]:
    return CraneModel.objects.select_related("maker").order_by("maker__name", "designation")


def _cranes() -> QuerySet[Crane]:
    return Crane.objects.select_related("model__maker").order_by("model__designation", "serial_number")


def _long_text(rows: int = 3) -> forms.Textarea:
    return forms.Textarea(attrs={"rows": rows})


# Hours of a crew on one sheet


@dataclass(frozen=True, slots=True)
class Line:
    """The fields of one line of a sheet or list, by their part in it."""

    number: int
    fields: dict[str, forms.BoundField]

    @property
    def wrong(self) -> bool:
        """Whether a field of the line has an error."""
        return any(each.errors for each in self.fields.values())


class SheetForm(forms.Form):
    """Hours of a whole crew and shift: what is common above, a line for each person below."""

    site = forms.ModelChoiceField(Site.objects.order_by("name"), label=_("Site"))
    crane = forms.ModelChoiceField(Crane.objects.none(), label=_("Crane"))
    operation = forms.ChoiceField(label=_("Operation"), choices=to_choose(OPERATION_CHOICES))
    configuration = forms.CharField(label=_("Configuration"), required=False, max_length=100)
    day = Day(label=_("Day the work began"))
    start = _clock_time(label=_("Start"), help_text=_("By a clock on the site."))
    end = _clock_time(label=_("End"), help_text=_("Not after the start: the next day."))
    repeated = forms.ChoiceField(
        label=_("A time that the clock shows twice that night is"),
        required=False,
        choices=[("", ""), ("first", _("the first, before it is put back")), ("second", _("the second, after that"))],
    )
    capacity = forms.ChoiceField(label=_("Worked as"), choices=to_choose(ROLE_CHOICES))
    signer = PersonField(
        label=_("To be countersigned by"),
        required=False,
        help_text=_("Number or name. The hours wait for this person's own signature; not for their own hours."),
    )

    def __init__(self, *args: Any, people: QuerySet[Worker], lines: int = FIRST_LINES, **options: Any) -> None:
        super().__init__(*args, **options)
        self.people = people
        self.lines_shown = min(lines, MOST_LINES)
        self.rows_at: list[int] = []
        self.fields["crane"].queryset = _cranes()  # type: ignore[attr-defined]
        for number in range(self.lines_shown):
            self.fields[f"person_{number}"] = PersonField(
                label=gettext("Line %(number)s: person") % {"number": number + 1}, required=False
            )
            self.fields[f"start_{number}"] = _clock_time(
                label=gettext("Line %(number)s: start") % {"number": number + 1}, required=False
            )
            self.fields[f"end_{number}"] = _clock_time(
                label=gettext("Line %(number)s: end") % {"number": number + 1}, required=False
            )
            self.fields[f"capacity_{number}"] = forms.ChoiceField(
                label=gettext("Line %(number)s: worked as") % {"number": number + 1},
                required=False,
                choices=[("", _("as above")), *ROLE_CHOICES],
            )
            self.fields[f"left_out_{number}"] = forms.BooleanField(
                label=gettext("Line %(number)s: leave out") % {"number": number + 1}, required=False
            )

    def lines(self) -> list[Line]:
        """The lines in order."""
        parts = ("person", "start", "end", "capacity", "left_out")
        return [
            Line(number + 1, {part: self[f"{part}_{number}"] for part in parts}) for number in range(self.lines_shown)
        ]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        numbers = [
            each
            for each in range(self.lines_shown)
            if given.get(f"person_{each}") and not given.get(f"left_out_{each}")
        ]
        for each in range(self.lines_shown):
            own_times = given.get(f"start_{each}") or given.get(f"end_{each}")
            if own_times and not given.get(f"person_{each}") and not given.get(f"left_out_{each}"):
                self.add_error(f"person_{each}", gettext("Say whose hours these are."))
        if not numbers:
            self.add_error("person_0", gettext("Name at least one person."))
        self.found = find_people(self, ["signer", *(f"person_{each}" for each in numbers)], self.people)
        common = all(given.get(each) for each in ("site", "crane", "day")) and None not in (
            given.get("start"),
            given.get("end"),
        )
        self.spans: dict[int, tuple[datetime, datetime]] = {}
        if common:
            # An error takes the field's value away, which the other lines still go by.
            shift = dict(given)
            for each in numbers:
                self._read_times(each, shift)
        return given

    def _read_times(self, number: int, given: dict[str, Any]) -> None:
        own_start, own_end = given.get(f"start_{number}"), given.get(f"end_{number}")
        start, end = own_start or given["start"], own_end or given["end"]
        zone = given["site"].time_zone
        try:
            begun = self._instant(given["day"], start, zone, given["repeated"])
        except ValidationError as error:
            self._say_once(f"start_{number}" if own_start else "start", error)
            return
        try:
            ended = self._instant(given["day"] + timedelta(days=1 if end <= start else 0), end, zone, given["repeated"])
        except ValidationError as error:
            self._say_once(f"end_{number}" if own_end else "end", error)
            return
        self.spans[number] = (begun, ended)

    def _say_once(self, field: str, error: ValidationError) -> None:
        """What is wrong with the shift's own times is found at every line."""
        if not self.has_error(field, error.code):
            self.add_error(field, error)

    @staticmethod
    def _instant(day: date, clock: time, zone: str, repeated: str) -> datetime:
        instant = at_site(datetime.combine(day, clock.replace(second=0, microsecond=0)), zone, repeated=repeated)
        assert instant is not None
        return instant

    def asks_which(self) -> bool:
        """Whether a time is one that the clock shows twice."""
        return bool(self["repeated"].value()) or any(self.has_error(each, REPEATED) for each in self.fields)

    def rows(self, employer: Employer) -> list[NewHours]:
        """The rows of :func:`registry.evidence.countersigning.record_shift`."""
        given = self.cleaned_data
        self.rows_at = sorted(self.spans)
        return [
            NewHours(
                worker=self.found[f"person_{number}"],
                model=given["crane"].model,
                crane=given["crane"],
                operation=given["operation"],
                configuration=given["configuration"],
                start=self.spans[number][0],
                end=self.spans[number][1],
                employer=employer,
                site=given["site"],
                capacity=given[f"capacity_{number}"] or given["capacity"],
            )
            for number in self.rows_at
        ]

    @contextmanager
    def refused_beside_lines(self) -> Iterator[None]:
        """Show each problem of a refused sheet beside the field of its line."""
        try:
            yield
        except RecordRefused as refused:
            problems = {(self._field_of(each.field), each.message): None for each in refused.problems}
            for field, message in problems:
                self.add_error(field, message)

    def _field_of(self, field: str) -> str | None:
        if found := ROW.fullmatch(field):
            number, part = self.rows_at[int(found[1])], found[2]
            part = {"worker": "person"}.get(part, part)
            own = f"{part}_{number}"
            # A time left blank in the line is the shift's.
            of_shift = part in ("start", "end") and not self.cleaned_data.get(own)
            field = own if own in self.fields and not of_shift else part
        return field if field in self.fields else None


def sheet_for(job: Job) -> dict[str, Any]:
    """What the sheet of a job's crew begins with: the job's crane and everybody who stands on it."""
    zone = ZoneInfo(job.site.time_zone)
    states = AssignmentState.objects.filter(job=job).exclude(standing="ended").select_related("worker", "slot")
    initial: dict[str, Any] = {
        "site": job.site_id,
        "crane": job.crane_id,
        "operation": job.operation,
        "configuration": job.configuration,
        "day": local_date(job.start, zone),
    }
    # Whoever has a place in two parts of the job is one line of a shift.
    crew = list(
        {
            (each.worker_id, each.slot.role): each
            for each in sorted(states, key=lambda each: (each.slot_id, each.assignment_id))
        }.values()
    )
    for number, each in enumerate(crew):
        initial[f"person_{number}"] = f"{each.worker.number} {each.worker}"
        initial[f"capacity_{number}"] = each.slot.role
    return {"initial": initial, "lines": max(FIRST_LINES, len(crew) + 2)}


# Countersigning


class EntriesForm(forms.Form):
    """Ticked entries; the list they are ticked in is the page's."""

    entries = forms.TypedMultipleChoiceField(
        label=_("Entries"), coerce=int, error_messages={"required": _("Tick at least one entry.")}
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        # Whether an entry waits is for the service to say, which names the rule.
        self.fields["entries"].choices = [(each, each) for each in self.ticked()]  # type: ignore[attr-defined]

    def ticked(self) -> list[int]:
        """What was ticked, to keep it."""
        written = self.data.getlist("entries") if self.is_bound else []  # type: ignore[attr-defined]
        return [int(each) for each in written if each.isascii() and each.isdecimal() and len(each) < 16]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        given["entry_ids"] = given.pop("entries", [])
        return given


class SignerForm(EntriesForm):
    """Whom to ask to countersign the ticked entries."""

    beside = {"of": "signer", "by": "signer"}

    signer = PersonField(label=_("Ask this person to countersign"), help_text=_("Number or name."))

    def __init__(self, *args: Any, people: QuerySet[Worker], **options: Any) -> None:
        super().__init__(*args, **options)
        self.people = people

    def clean(self) -> dict[str, Any]:
        given = super().clean()
        self.found = find_people(self, ["signer"], self.people)
        return given


class SigningForm(EntriesForm):
    """The ticked entries to sign, or to decline with a reason."""

    reason = forms.CharField(
        label=_("Why not"),
        max_length=2000,
        widget=_long_text(2),
        help_text=_("The employer reads this and answers; the hours stay as they are until then."),
    )

    def __init__(self, *args: Any, declining: bool, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["reason"].required = declining


class ReplyForm(forms.Form):
    """What the employer says to an objection when the entry stands."""

    reply = forms.CharField(label=_("What you found"), max_length=2000, widget=_long_text())


# Records about one person; the field names are those of the service that records them


class RecordForm(ClockForm):
    """A record to add or to correct."""

    def __init__(self, *args: Any, worker: Worker, employer: Employer | None, **options: Any) -> None:
        self.worker = worker
        self.employer = employer
        super().__init__(*args, **options)

    def given(self) -> dict[str, Any]:
        """The arguments of the service, but for the worker, the scan and the time."""
        return {name: value for name, value in self.cleaned_data.items() if name not in ("clock", "document", "kept")}

    def changes(self) -> dict[str, Any]:
        """The record's own fields, for a correction."""
        return self.given()


class ScannedRecordForm(RecordForm, ScanForm):
    """A record that a scan can be attached to."""

    document = ScanField(required=False)


class CertificateForm(ScannedRecordForm):
    """A third party's certificate."""

    scheme = AskedForField("schemes", label=_("Scheme"), max_length=200, help_text=_("What it certifies."))
    number = forms.CharField(label=_("Number"), max_length=100)
    issuer = forms.CharField(label=_("Issued by"), max_length=200)
    issued = Day(label=_("Issued on"))
    expires = Day(label=_("Expires on"), required=False, help_text=_("Valid through the end of that day."))
    scope = forms.CharField(label=_("Scope"), required=False, max_length=500, help_text=_("Set apart by commas."))
    models = forms.ModelMultipleChoiceField(
        CraneModel.objects.none(),
        label=_("Crane models it covers"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    classes = forms.MultipleChoiceField(
        label=_("Crane classes it covers"), required=False, widget=forms.CheckboxSelectMultiple
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        models = list(_models())
        self.fields["models"].queryset = _models()  # type: ignore[attr-defined]
        classes = sorted({each.crane_class for each in models})
        self.fields["classes"].choices = [(each, each) for each in classes]  # type: ignore[attr-defined]

    def clean_scope(self) -> list[str]:
        return [each.strip() for each in self.cleaned_data["scope"].split(",") if each.strip()]

    def given(self) -> dict[str, Any]:
        return {**super().given(), "models": list(self.cleaned_data["models"])}

    def changes(self) -> dict[str, Any]:
        given = self.given()
        return {
            **{name: value for name, value in given.items() if name not in ("models", "classes")},
            "covers_models": [each.pk for each in given["models"]],
            "covers_classes": given["classes"],
        }


class CertificateStatusForm(ScannedRecordForm):
    """A certificate is suspended or revoked; the registrar says that it is reinstated."""

    certification = forms.ModelChoiceField(Certification.objects.none(), label=_("Certificate"))
    status = forms.ChoiceField(label=_("It is"), choices=to_choose(choices_of(CertificationStatus.STATUSES)))
    effective_at = SiteInstant(label=_("From"))
    reason = forms.CharField(label=_("Reason"), required=False, max_length=2000, widget=_long_text())

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        if self.account.kind != "registrar":
            status = self.fields["status"]
            barring = choices_of(each for each in CertificationStatus.STATUSES if each != "reinstated")
            status.choices = to_choose(barring)  # type: ignore[attr-defined]
            status.help_text = gettext(
                "That a suspended certificate is reinstated, the registrar records: ask at the suspension, and say"
                " where the issuer's paper can be seen."
            )
        # A refused form is shown again as the register reads, so what the account reads is asked here.
        certificates = readable(self.account, Certification.objects.current().filter(worker=self.worker))
        self.fields["certification"].queryset = certificates.order_by("-issued", "id")  # type: ignore[attr-defined]


class InstructionForm(ScannedRecordForm):
    """Completed instruction."""

    topic = AskedForField("topics", label=_("Topic"), max_length=200)
    provider = forms.ChoiceField(label=_("Given by"), choices=to_choose(choices_of(Instruction.PROVIDERS)))
    provider_name = forms.CharField(label=_("Name of the provider"), required=False, max_length=200)
    model = forms.ModelChoiceField(CraneModel.objects.none(), label=_("Crane model"), required=False)
    completed_at = SiteInstant(label=_("Completed"))
    minutes = forms.IntegerField(label=_("Minutes"), required=False, min_value=1, max_value=100_000)
    after_stand_down = forms.ModelChoiceField(
        StandDown.objects.none(), label=_("Retraining after the stand-down"), required=False
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["model"].queryset = _models()  # type: ignore[attr-defined]
        barred = readable(self.account, StandDown.objects.current().filter(worker=self.worker))
        self.fields["after_stand_down"].queryset = barred.order_by("-start", "id")  # type: ignore[attr-defined]


class AppointmentForm(ScannedRecordForm):
    """A dated written appointment."""

    kind = forms.ChoiceField(
        label=_("Kind of appointment"),
        choices=to_choose(choices_of(Appointment.KINDS)),
        help_text=_("Founding: the act by which an employer names its first assessors; it needs an outside document."),
    )
    duty = AskedForField("duties", also=ROLES, label=_("Duty"), max_length=100)
    maker = forms.ModelChoiceField(
        Maker.objects.order_by("name"), label=_("Maker"), required=False, help_text=_("For a maker's instructor.")
    )
    model = forms.ModelChoiceField(CraneModel.objects.none(), label=_("Crane model"), required=False)
    start = SiteInstant(label=_("From"))
    end = SiteInstant(label=_("Until"), required=False, help_text=_("Blank: until further notice."))
    stop_work_authority = forms.BooleanField(label=_("With the authority to stop work"), required=False)
    appointed_by = forms.CharField(label=_("Appointed by"), required=False, max_length=200)

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["model"].queryset = _models()  # type: ignore[attr-defined]

    def given(self) -> dict[str, Any]:
        given = super().given()
        makers = given["kind"] == "maker_instructor"
        return {**given, "employer": None if makers else self.employer, "maker": given["maker"] if makers else None}


class StandDownForm(RecordForm):
    """A bar after unsafe conduct or an incident."""

    role = forms.ChoiceField(label=_("Role"), required=False, choices=[("", _("every role")), *ROLE_CHOICES])
    model = forms.ModelChoiceField(
        CraneModel.objects.none(), label=_("Crane model"), required=False, empty_label=_("every model")
    )
    start = SiteInstant(label=_("From"))
    reason = forms.CharField(label=_("Reason"), max_length=5000, widget=_long_text())
    occasion = forms.ChoiceField(
        label=_("What it happened on"),
        widget=forms.RadioSelect,
        help_text=_(
            "With a shift or a job of yours the stand-down bars everywhere; otherwise at your firm alone."
            " The person and the registrar hear of it at once."
        ),
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["model"].queryset = _models()  # type: ignore[attr-defined]
        found = [] if self.employer is None else occasions_of(self.worker, self.employer, at=timezone.now())
        self.occasions = {each.key: each for each in found}
        self.fields["occasion"].choices = [  # type: ignore[attr-defined]
            *((key, each.said) for key, each in self.occasions.items()),
            (NO_OCCASION, gettext("None of these: it bars at our firm alone")),
        ]

    def given(self) -> dict[str, Any]:
        given = super().given()
        return {**given, "employer": self.employer, "occasion": self.occasions.get(given["occasion"])}


class EmploymentForm(RecordForm):
    """A period on the employer's books."""

    start = Day(label=_("First day"))
    end = Day(label=_("Last day"), required=False, help_text=_("Blank: still employed."))

    def given(self) -> dict[str, Any]:
        return {**super().given(), "employer": self.employer}


class LanguageForm(RecordForm):
    """A language somebody can work in."""

    language = LanguageField(
        label=_("Language"), max_length=35, help_text=_("Its name, or its tag for a language not offered: pt-BR.")
    )


class HoursForm(RecordForm):
    """One entry of hours, to correct."""

    site = forms.ModelChoiceField(Site.objects.order_by("name"), label=_("Site"))
    model = forms.ModelChoiceField(CraneModel.objects.none(), label=_("Crane model"))
    crane = forms.ModelChoiceField(Crane.objects.none(), label=_("Crane"), required=False)
    configuration = forms.CharField(label=_("Configuration"), required=False, max_length=100)
    operation = forms.ChoiceField(label=_("Operation"), choices=OPERATION_CHOICES)
    capacity = forms.ChoiceField(label=_("Worked as"), choices=ROLE_CHOICES)
    start = SiteInstant(label=_("Start"))
    end = SiteInstant(label=_("End"))

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["model"].queryset = _models()  # type: ignore[attr-defined]
        self.fields["crane"].queryset = _cranes()  # type: ignore[attr-defined]


class AssessmentForm(ScannedRecordForm):
    """A practical assessment against a list of tasks."""

    # Whether the tasks allow it is said at the outcome.
    beside = {"tasks": "outcome"}

    role = forms.ChoiceField(label=_("Assessed as"), choices=to_choose(ROLE_CHOICES))
    model = forms.ModelChoiceField(CraneModel.objects.none(), label=_("Crane model"))
    configuration = forms.CharField(label=_("Configuration"), required=False, max_length=100)
    operations = forms.MultipleChoiceField(
        label=_("Operations"), choices=OPERATION_CHOICES, widget=forms.CheckboxSelectMultiple
    )
    assessed_at = SiteInstant(label=_("Assessed"))
    outcome = forms.ChoiceField(label=_("Outcome"), choices=to_choose(choices_of(Assessment.OUTCOMES)))

    def __init__(self, *args: Any, task_lines: int = TASK_LINES, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["model"].queryset = _models()  # type: ignore[attr-defined]
        self.lines_shown = min(task_lines, MOST_LINES)
        for number in range(self.lines_shown):
            self.fields[f"task_{number}"] = forms.CharField(
                label=gettext("Task %(number)s") % {"number": number + 1}, required=False, max_length=300
            )
            self.fields[f"met_{number}"] = forms.ChoiceField(
                label=gettext("Task %(number)s: met") % {"number": number + 1},
                required=False,
                choices=[("", "-"), ("met", _("met")), ("unmet", _("not met"))],
            )

    def lines(self) -> list[Line]:
        """The lines of the task list."""
        return [
            Line(number + 1, {part: self[f"{part}_{number}"] for part in ("task", "met")})
            for number in range(self.lines_shown)
        ]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        self.tasks = []
        for number in range(self.lines_shown):
            task, met = given.pop(f"task_{number}", ""), given.pop(f"met_{number}", "")
            if task and not met:
                self.add_error(f"met_{number}", gettext("Say whether this task was met."))
            elif met and not task:
                self.add_error(f"task_{number}", gettext("Say which task this was."))
            elif task:
                self.tasks.append({"task": task, "met": met == "met"})
        return given

    def given(self) -> dict[str, Any]:
        return {**super().given(), "tasks": self.tasks}


class OwnAssessmentForm(AssessmentForm):
    """An assessment by the assessor who is signed in, with a signature typed or drawn."""

    signature = forms.CharField(
        label=_("Your name as signature"),
        required=False,
        max_length=200,
        widget=forms.TextInput({"autocomplete": "name"}),
    )
    drawn = forms.CharField(label=_("Drawn signature"), required=False, widget=forms.HiddenInput())

    def clean_drawn(self) -> str:
        drawn = str(self.cleaned_data.get("drawn") or "")
        self.drawing = None
        if drawn:
            found = DRAWING.fullmatch(drawn) if len(drawn) <= LARGEST_DRAWING else None
            try:
                content = base64.b64decode(found[1], validate=True) if found else b""
                self.drawing = inspect_upload(
                    name="signature.png",
                    content=content,
                    owner=owner_of(self.account),
                    accept={PNG},
                    field="drawn",
                )
            except (binascii.Error, RecordRefused) as error:
                raise ValidationError(gettext("The drawn signature cannot be read; draw it again.")) from error
        return drawn

    def given(self) -> dict[str, Any]:
        return {name: value for name, value in super().given().items() if name != "drawn"}

    def keep_drawing(self, now: datetime) -> Document | None:
        """Store the drawn signature."""
        if self.drawing is None:
            return None
        return keep_upload(upload=self.drawing, recorded_at=now, recorded_by=self.account)


class ThirdPartyAssessmentForm(AssessmentForm):
    """What a third party's assessor attested on paper.

    One sentence for all that may be wrong with the assessor: nobody learns from here whose number it is.
    """

    third_party = forms.CharField(label=_("Third party"), max_length=200)
    assessor = forms.CharField(
        label=_("Assessor's number"), max_length=20, help_text=_("The assessor's own number in the register: W-000123.")
    )
    assessor_family_name = forms.CharField(
        label=_("Assessor's family name"), max_length=100, help_text=_("As it stands on the paper.")
    )

    def __init__(self, *args: Any, too_often: bool = False, **options: Any) -> None:
        super().__init__(*args, **options)
        self.too_often = too_often

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        number, family_name = cleaned.get("assessor"), cleaned.pop("assessor_family_name", None)
        if self.too_often:
            # Not looked at: the answer would be one more.
            self.add_error(None, ASKED_TOO_OFTEN)
        elif number and family_name:
            found = person_who_fits(number, family_name)
            if found is None:
                self.add_error("assessor", gettext("Nobody in the register has this number and family name."))
            else:
                cleaned["assessor"] = found
        return cleaned


# Corrections


class ReasonForm(forms.Form):
    """Why a record is corrected or withdrawn, or why not."""

    because = forms.CharField(label=_("Reason"), max_length=5000, widget=_long_text())


class CorrectionRequestForm(forms.Form):
    """What is wrong with a record, and what it should be."""

    what_is_wrong = forms.CharField(label=_("What is wrong"), max_length=5000, widget=_long_text())
    what_it_should_be = forms.CharField(
        label=_("What it should be"), max_length=5000, required=False, widget=_long_text()
    )


def initial_of(record: Any) -> dict[str, Any]:
    """What a form begins with that corrects the record."""
    zone = getattr(getattr(record, "site", None), "time_zone", None) or "UTC"
    initial: dict[str, Any] = {"clock": zone}
    for each in record._meta.concrete_fields:
        value = getattr(record, each.attname)
        if isinstance(value, datetime):
            value = value.astimezone(ZoneInfo(zone)).replace(tzinfo=None)
        initial[each.name] = value
    if isinstance(record, Certification):
        initial |= {
            "scope": ", ".join(record.scope),
            "models": record.covers_models,
            "classes": record.covers_classes,
        }
    if isinstance(record, Assessment):
        initial |= {"assessor": record.assessor.number, "assessor_family_name": record.assessor.family_name}
        for number, task in enumerate(record.tasks):
            initial |= {f"task_{number}": task["task"], f"met_{number}": "met" if task["met"] else "unmet"}
    initial.pop("document", None)
    return initial


CORRECTION_FORMS: dict[str, type[RecordForm]] = {
    "hoursentry": HoursForm,
    "certification": CertificateForm,
    "certificationstatus": CertificateStatusForm,
    "instruction": InstructionForm,
    "appointment": AppointmentForm,
    "employment": EmploymentForm,
    "languageskill": LanguageForm,
    "assessment": OwnAssessmentForm,
}


def correction_form(data: Any, files: Any, *, record: Any, account: Account, too_often: bool = False) -> RecordForm:
    """The form that corrects the record, with what is recorded filled in; ``too_often``: no number is looked up."""
    form_class = CORRECTION_FORMS[kind_of(record)]
    more: dict[str, Any] = {}
    if isinstance(record, Assessment):
        form_class = ThirdPartyAssessmentForm if record.third_party else OwnAssessmentForm
        more["task_lines"] = len(record.tasks) + 2
        if record.third_party:
            more["too_often"] = too_often
    if issubclass(form_class, ScanForm):
        more["account"] = account
    form = form_class(
        data,
        files,
        worker=record.worker,
        employer=getattr(record, "employer", None),
        initial=initial_of(record),
        **more,
    )
    if "clock" in form.fields and initial_of(record)["clock"] == "UTC":
        clock = form.fields["clock"]
        if ("UTC", "UTC") not in clock.choices:  # type: ignore[attr-defined]
            clock.choices = [("UTC", "UTC"), *clock.choices]  # type: ignore[attr-defined]
    return form


# People


class NewPersonForm(forms.Form):
    """Somebody new to the register, who comes onto the employer's books."""

    given_name = forms.CharField(label=_("Given name"), max_length=100)
    family_name = forms.CharField(label=_("Family name"), max_length=100)
    date_of_birth = Day(label=_("Date of birth"))
    start = Day(label=_("Employed from"))


class AskPersonForm(forms.Form):
    """Somebody who is registered, whom the employer asks."""

    prefix = "ask"
    number = forms.CharField(
        label=_("Number"), max_length=20, help_text=_("W-000123, as it stands on their training transcript.")
    )
    family_name = forms.CharField(label=_("Family name"), max_length=100)
    date_of_birth = Day(label=_("Date of birth"))
    start = Day(label=_("Employed from"))


class PersonsCodeForm(forms.Form):
    """The code that somebody made for an employer."""

    prefix = "code"
    code = forms.CharField(label=_("Code"), max_length=40, widget=forms.TextInput(attrs={"autocomplete": "off"}))
    start = Day(label=_("Employed from"))


class TellApartForm(forms.Form):
    """Whether a new person is one of those on the books who look the same. Nothing is chosen beforehand."""

    ANOTHER = "another"

    who = forms.ChoiceField(
        label=_("Is it one of these people?"),
        widget=forms.RadioSelect,
        error_messages={"required": _("Say whether it is one of these people, or somebody else.")},
    )
    # Whom the page showed: somebody who came onto the books since is asked about too.
    shown = forms.TypedMultipleChoiceField(coerce=int, widget=forms.MultipleHiddenInput, required=False)

    def __init__(self, *args: Any, alike: Sequence[Lookalike], **options: Any) -> None:
        super().__init__(*args, **options)
        self.alike = {each.worker.pk: each for each in alike}
        people = [(str(number), self._named(each)) for number, each in self.alike.items()]
        # The same name and day of birth is the same person: nobody says otherwise on a page.
        another = [] if any(each.likeness.same for each in alike) else [(self.ANOTHER, _("No, it is somebody else"))]
        self.fields["who"].choices = [*people, *another]  # type: ignore[attr-defined]
        self.fields["shown"].choices = [(each, each) for each in self.alike]  # type: ignore[attr-defined]
        self.fields["shown"].initial = list(self.alike)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if given.get("who") == self.ANOTHER and set(given.get("shown", [])) != set(self.alike):
            self.add_error("who", self.fields["who"].error_messages["required"])
        return given

    @property
    def chosen(self) -> Worker | None:
        """Who it is, where it is one of them."""
        who = self.cleaned_data["who"]
        return None if who == self.ANOTHER else self.alike[int(who)].worker

    def _named(self, each: Lookalike) -> str:
        worker = each.worker
        born = _("no date of birth") if worker.date_of_birth is None else written_day(worker.date_of_birth)
        said = {"number": worker.number, "name": worker, "born": born, "alike": alike_in_words(each.likeness)}
        return gettext("Yes, %(number)s %(name)s, %(born)s (%(alike)s)") % said


# Import


class TableForm(forms.Form):
    """A table to bring in, and what its rows are."""

    kind = forms.ChoiceField(label=_("What the rows are"))
    file = forms.FileField(
        label=_("Table"),
        max_length=255,
        allow_empty_file=True,
        help_text=_("CSV or XLSX, up to 5 MB; the first row names the columns."),
        widget=forms.FileInput(attrs={"accept": ".csv,.xlsx,text/csv"}),
    )

    def __init__(self, *args: Any, kinds: dict[str, type[Kind]], account: Account, **options: Any) -> None:
        super().__init__(*args, **options)
        self.kinds, self.account = kinds, account
        self.fields["kind"].choices = [  # type: ignore[attr-defined]
            (
                name,
                gettext("%(kind)s, at most %(rows)s rows") % {"kind": gettext(name), "rows": amount(kind.most_rows)},
            )
            for name, kind in kinds.items()
        ]

    def clean_file(self) -> Any:
        file = self.cleaned_data["file"]
        try:
            self.upload = inspect_upload(
                name=file.name, content=file.read(), owner=owner_of(self.account), accept=TABLES, field="file"
            )
        except RecordRefused as refused:
            raise ValidationError([each.message for each in refused.problems]) from refused
        return file

    def keep(self, now: datetime) -> Document | None:
        """Keep the table with its rows as they are read, unless reading had to be stopped: then nothing is kept.

        A table that is kept although it cannot be read may be in another encoding, or have several sheets.
        """
        content = self.upload.content
        reading = TableReading(
            lambda: content,
            sha256(content).hexdigest(),
            sheet=None,
            encoding=None,
            most_rows=self.kinds[self.cleaned_data["kind"]].most_rows,
        )
        try:
            with turn(owner_of(self.account)):
                reading.read()
        except (FileRefused, Stopped) as refused:
            self.add_error("file", refused.message)
            return None
        return keep_upload(upload=self.upload, recorded_at=now, recorded_by=self.account)


class MappingForm(forms.Form):
    """Which field each heading of the table is, and how ambiguous values are read."""

    dates = forms.ChoiceField(
        label=_("In 03/04/2026 comes first"),
        required=False,
        choices=[("", _("refuse such dates")), (DAY_FIRST, _("the day")), (MONTH_FIRST, _("the month"))],
    )
    encoding = forms.ChoiceField(label=_("Encoding of a CSV"), required=False, choices=ENCODINGS)
    sheet = forms.CharField(label=_("Sheet of a workbook with several"), required=False, max_length=100)
    partial = forms.BooleanField(label=_("Import the good rows although others are refused"), required=False)

    def __init__(
        self, data: QueryDict | dict[str, Any] | None = None, *, headings: list[Heading], fields: list[Field]
    ) -> None:
        if data is not None:
            # Columns that the page could not show before, in the right encoding or sheet, are as recognised.
            recognised = {f"column_{position}": heading.field for position, heading in enumerate(headings)}
            data = recognised | {name: data[name] for name in data}
        super().__init__(data)
        self.headings = headings
        choices = [("", gettext("leave out"))] + [
            (each.name, field_in_words(each.name) + (" *" if each.compulsory else "")) for each in fields
        ]
        for position, heading in enumerate(headings):
            if heading.column.header:
                self.fields[f"column_{position}"] = forms.ChoiceField(
                    label=f"{heading.column.letter}: {heading.column.header}",
                    required=False,
                    choices=choices,
                    initial=heading.field,
                )

    def columns_shown(self) -> list[forms.BoundField]:
        """The fields that say what each heading is."""
        return [self[each] for each in self.fields if each.startswith("column_")]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        taken: dict[str, str] = {}
        for position, heading in enumerate(self.headings):
            name = f"column_{position}"
            field = given.get(name)
            if field and field in taken:
                sentence = gettext("%(column)s is this field already.") % {"column": taken[field]}
                self.add_error(name, sentence)
            elif field:
                taken[field] = heading.column.letter
        return given

    def untouched(self) -> dict[str, Any]:
        """What this form sends when nobody changes anything."""
        return {name: field.initial or "" for name, field in self.fields.items()}

    def options(self) -> ImportOptions:
        """How to read the table. The columns left out are named, so no other may be unknown."""
        given = self.cleaned_data
        return ImportOptions(
            letters=self._mapping(),
            ignore_unknown_columns=True,
            dates=given["dates"] or None,
            sheet=given["sheet"] or None,
            encoding=given["encoding"] or None,
            partial=given["partial"],
            signatures=False,
        )

    def _mapping(self) -> dict[str, str]:
        return {
            heading.column.letter: self.cleaned_data.get(f"column_{position}") or ""
            for position, heading in enumerate(self.headings)
            if heading.column.header
        }
