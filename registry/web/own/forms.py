"""What a worker types: the role they want, and how long a link stays open."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from registry.crews.wanted import askable_employers, askable_standards, last_model_of
from registry.engine.evidence import OPERATIONS, ROLES
from registry.equipment.models import CraneModel
from registry.language.said import authored
from registry.language.words import choices_of
from registry.people.models import Account, Employer, Worker
from registry.transcripts.sharing import FEWEST_DAYS, MOST_DAYS
from registry.web.forms import Day

FURTHEST = timedelta(days=5 * 365)


class WantedRoleForm(forms.Form):
    """The role somebody wants, in which operation, on which model, from which day on.

    Employer and role standard are asked for only where there are several.
    """

    role = forms.ChoiceField(label=_("Role"), choices=choices_of(ROLES))
    operation = forms.ChoiceField(label=_("Operation"), choices=choices_of(OPERATIONS))
    model = forms.ModelChoiceField(
        CraneModel.objects.select_related("maker").order_by("maker__name", "designation"), label=_("Crane model")
    )
    configuration = forms.CharField(label=_("Configuration"), required=False, max_length=100)
    employer = forms.ModelChoiceField(Employer.objects.none(), label=_("Employer"))
    standard = forms.ChoiceField(label=_("Role standard"))
    day = Day(label=_("Day of the work"))

    def __init__(self, data: Any, *, account: Account, worker: Worker, today: date) -> None:
        super().__init__(
            data, initial={"role": "erector", "model": last_model_of(worker), "day": today + timedelta(days=1)}
        )
        self.today = today
        employers = askable_employers(account, worker)
        standards = askable_standards(employers, day=today)
        self.possible = bool(standards)
        self.fields["employer"].queryset = employers  # type: ignore[attr-defined]
        self.fields["standard"].choices = [(each.key, authored(each.title)) for each in standards]  # type: ignore[attr-defined]
        self.fixed: dict[str, Any] = {}
        self._fix("employer", list(employers[:2]))
        self._fix("standard", [each.key for each in standards])

    def _fix(self, name: str, possible: list[Any]) -> None:
        if len(possible) == 1:
            self.fixed[name] = possible[0]
            del self.fields[name]

    def clean_day(self) -> date:
        day: date = self.cleaned_data["day"]
        if not self.today <= day <= self.today + FURTHEST:
            raise forms.ValidationError(_("Choose a day from today on, within five years."))
        return day

    def asked(self) -> dict[str, Any]:
        """The arguments of :func:`registry.crews.wanted.what_is_missing`, but for the worker."""
        given = {**self.fixed, **self.cleaned_data}
        given["standard_key"] = given.pop("standard")
        return given


class ShareForm(forms.Form):
    """How many days a link stays open, and for whom it is."""

    days = forms.IntegerField(
        label=_("Days it stays open"),
        min_value=FEWEST_DAYS,
        max_value=MOST_DAYS,
        initial=7,
        help_text=_("From 1 to 30. You can end it at any time."),
    )
    note = forms.CharField(label=_("For whom"), required=False, max_length=200, help_text=_("Only you see this note."))


class EmployerCodeForm(forms.Form):
    """For which employer a code is, and from which day."""

    employer = forms.ModelChoiceField(
        Employer.objects.order_by("name"), label=_("Employer"), required=False, empty_label=_("any employer")
    )
    start = Day(label=_("Not before"), help_text=_("The first day on which you may be on its books."))


class LeavingForm(forms.Form):
    """The last day on an employer's books."""

    last_day = Day(label=_("Last day"), help_text=_("Today or later."))
