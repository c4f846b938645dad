"""What the registrar types about people."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from registry.people.consent import person_who_fits
from registry.people.models import Employer
from registry.web.forms import Day, SiteInstant
from registry.web.records.fields import ClockForm


class RegistrarEmploymentForm(forms.Form):
    """An employment that both sides showed to the registrar."""

    number = forms.CharField(label=_("Worker's number"), max_length=20)
    family_name = forms.CharField(label=_("Family name"), max_length=100)
    employer = forms.ModelChoiceField(Employer.objects.order_by("name"), label=_("Employer"), empty_label="")
    start = Day(label=_("Employed from"))
    reason = forms.CharField(
        label=_("What showed that both agree"), max_length=5000, widget=forms.Textarea(attrs={"rows": 3})
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        number, family_name = cleaned.pop("number", ""), cleaned.pop("family_name", "")
        if number and family_name:
            cleaned["worker"] = person_who_fits(number, family_name)
            if cleaned["worker"] is None:
                raise ValidationError({"number": gettext("Nobody in the register has this number and family name.")})
        return cleaned


class SettledTwinForm(forms.Form):
    """What came of looking into two people who look alike."""

    found = forms.ChoiceField(
        label=_("They are"),
        choices=[("two_people", _("two people")), ("one_person", _("one person"))],
        widget=forms.RadioSelect,
    )
    reason = forms.CharField(
        label=_("What showed it"),
        max_length=5000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_("The papers you compared, or whom you asked."),
    )


class SuspensionForm(ClockForm):
    """From when until when a stand-down rests, and why."""

    start = SiteInstant(label=_("Suspended from"))
    end = SiteInstant(label=_("Until"), required=False, help_text=_("Blank: until it is ended."))
    reason = forms.CharField(label=_("Reason"), max_length=5000, widget=forms.Textarea(attrs={"rows": 3}))

    def given(self) -> dict[str, Any]:
        """The arguments of :func:`registry.crews.standing_down.suspend`, but for the stand-down and the time."""
        return {name: value for name, value in self.cleaned_data.items() if name != "clock"}
