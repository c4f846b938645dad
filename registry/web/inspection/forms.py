"""What an inspector types: a search, an instant, why a file is opened."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django import forms
from django.db.models import QuerySet
from django.urls import reverse_lazy
from django.utils.translation import gettext_lazy as _

from registry.crews.models import Job
from registry.people.models import Worker
from registry.web.forms import Day, SiteForm, SiteInstant


class SearchForm(forms.Form):
    """Words to find a person, a job or a crane by, and a day to see its crews."""

    q = forms.CharField(
        label=_("Person, job or crane"),
        max_length=100,
        required=False,
        strip=True,
        widget=forms.TextInput(
            attrs={
                "type": "search",
                "autocomplete": "off",
                "hx-get": reverse_lazy("inspection"),
                "hx-include": "closest form",
                "hx-trigger": "input changed delay:300ms, search",
                "hx-sync": "this:replace",
                "hx-target": "#found",
                "hx-select": "#found",
                "hx-swap": "outerHTML",
                "hx-select-oob": "#counted:innerHTML",
            }
        ),
    )
    day = Day(label=_("Crews on the day"), required=False)


class KnownAtForm(SiteForm):
    """The instant of knowing, and the instant of the work that is asked about."""

    at = SiteInstant(label=_("As known at"), help_text=_("By the clock of the site, through the end of that minute."))
    during = SiteInstant(label=_("At what time of the work"), required=False, help_text=_("Blank: when it starts."))


class PersonKnownAtForm(SiteForm):
    """Who is asked about, and as known when."""

    worker = forms.ModelChoiceField(Worker.objects.none(), label=_("Person"))
    at = SiteInstant(label=_("As known at"), help_text=_("By the clock of the site, through the end of that minute."))

    def __init__(self, *args: Any, job: Job, people: QuerySet[Worker], **options: Any) -> None:
        super().__init__(*args, job=job, **options)
        self.fields["worker"].queryset = people  # type: ignore[attr-defined]


class FileForm(forms.Form):
    """Under which reference and why a file is opened."""

    reference = forms.CharField(label=_("Reference"), max_length=100, help_text=_("The authority's own file number."))
    purpose = forms.CharField(label=_("Purpose"), max_length=1000, widget=forms.Textarea(attrs={"rows": 3}))


def clock_value(instant: datetime) -> str:
    """An instant of a site's clock as its field shows it."""
    return f"{instant:%Y-%m-%dT%H:%M}"


def through_minute(read: datetime, *, now: datetime) -> datetime:
    """The last instant of the minute ``read``, or ``now`` within it: pages print minutes, a record bears seconds."""
    last = read.replace(second=59, microsecond=999_999)
    return min(last, now) if read <= now else read
