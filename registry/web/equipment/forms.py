"""What people type into the pages for equipment: checked for form here, for substance in the services."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo, available_timezones

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from registry.equipment.models import CraneModel, CranePlacement, Maker, Site
from registry.standards.models import StandardVersion
from registry.web.forms import SiteInstant, at_site
from registry.web.records.fields import LanguageField, OfferingInput


def _day(**options: Any) -> forms.DateField:
    return forms.DateField(widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"), **options)


def _lines(rows: int = 3) -> forms.Textarea:
    return forms.Textarea(attrs={"rows": rows})


def _known_classes() -> list[str]:
    return list(CraneModel.objects.order_by("crane_class").values_list("crane_class", flat=True).distinct())


class TimeZoneField(forms.CharField):
    """A time zone by its name, such as ``Europe/Berlin``; spaces and capitals are as people type them."""

    def __init__(self, **options: Any) -> None:
        super().__init__(widget=OfferingInput(offered=lambda: sorted(available_timezones())), **options)

    def to_python(self, value: Any) -> str:
        typed = "_".join(str(super().to_python(value) or "").split())
        return {each.casefold(): each for each in available_timezones()}.get(typed.casefold(), typed)


class MakerForm(forms.Form):
    """A maker of tower cranes."""

    name = forms.CharField(label=_("Name of the maker"), max_length=100)


class ModelForm(forms.Form):
    """A crane model under its maker's designation."""

    maker = forms.ModelChoiceField(Maker.objects.order_by("name"), label=_("Maker"))
    designation = forms.CharField(
        label=_("Model"), max_length=100, help_text=_("The designation as the maker writes it, without its name.")
    )
    crane_class = forms.CharField(
        label=_("Class"),
        max_length=50,
        widget=OfferingInput(offered=_known_classes),
        help_text=_("Hours on one class may count for each of its models, where a role standard says so."),
    )
    configurations = forms.CharField(
        label=_("Configurations"),
        required=False,
        max_length=2000,
        widget=_lines(),
        help_text=_("Only where the model alone does not tell; one on each line."),
    )

    def clean_configurations(self) -> list[str]:
        named = self.cleaned_data["configurations"].splitlines()
        if any(len(each.strip()) > 100 for each in named):
            raise ValidationError(_("A configuration has 100 characters at most."))
        return named


class FamilyForm(forms.Form):
    """Models that their maker declares equivalent for training, with the document that says so."""

    models = forms.ModelMultipleChoiceField(
        CraneModel.objects.none(), label=_("Models of the family"), widget=forms.CheckboxSelectMultiple
    )
    document = forms.CharField(
        label=_("The maker's document"),
        max_length=200,
        help_text=_("Its title, number and date, so that anybody can ask the maker for it."),
    )
    valid_from = _day(label=_("Holds from"))
    valid_until = _day(label=_("Holds until"), required=False, help_text=_("Blank: until further notice."))

    def __init__(self, *args: Any, maker: Maker, **options: Any) -> None:
        super().__init__(*args, **options)
        choices = self.fields["models"]
        choices.queryset = CraneModel.objects.filter(maker=maker).order_by("designation")  # type: ignore[attr-defined]
        choices.label_from_instance = lambda each: each.designation  # type: ignore[attr-defined]


class JurisdictionField(forms.ChoiceField):
    """A jurisdiction that has a role standard in the register; without one no job could be planned there."""

    def __init__(self, **options: Any) -> None:
        super().__init__(choices=_jurisdictions, **options)


def _jurisdictions() -> list[tuple[str, Any]]:
    known = StandardVersion.objects.order_by("jurisdiction").values_list("jurisdiction", flat=True).distinct()
    return [("", _("Choose")), *((each, each) for each in known)]


class EmployerForm(forms.Form):
    """An organisation that assigns crews and owes the duty."""

    name = forms.CharField(label=_("Name of the employer"), max_length=200)
    jurisdiction = JurisdictionField(label=_("Jurisdiction"))
    responsible_person = forms.CharField(
        label=_("Responsible person"), max_length=200, help_text=_("Who names the employer's first assessors.")
    )
    address = forms.CharField(label=_("Address"), required=False, max_length=1000, widget=_lines())


class NewSiteForm(forms.Form):
    """A place with a time zone, whose rules hold there and what language is spoken."""

    name = forms.CharField(label=_("Name of the site"), max_length=200)
    address = forms.CharField(label=_("Address"), required=False, max_length=1000, widget=_lines())
    time_zone = TimeZoneField(
        label=_("Time zone"), max_length=64, help_text=_("Begin to type: the region and a large town near the site.")
    )
    jurisdiction = JurisdictionField(
        label=_("Jurisdiction"), help_text=_("Whose rules hold on the site; each has a role standard in the register.")
    )
    working_language = LanguageField(label=_("Working language"), required=False, max_length=35)


class CraneForm(forms.Form):
    """One crane, by the serial number on its plate."""

    model = forms.ModelChoiceField(
        CraneModel.objects.select_related("maker").order_by("maker__name", "designation"),
        label=_("Crane model"),
        help_text=_("Not here? The registrar enters makers and models."),
    )
    serial_number = forms.CharField(label=_("Serial number"), max_length=100)


class PlacementForm(forms.Form):
    """Where a crane stands, from when until when, by the clock of that site."""

    beside = {"crane": "start"}

    site = forms.ModelChoiceField(Site.objects.order_by("name"), label=_("Site"))
    start = SiteInstant(label=_("From"), help_text=_("By a clock on the site."))
    end = SiteInstant(label=_("Until"), required=False, help_text=_("Blank: the crane still stands there."))

    @staticmethod
    def as_recorded(placement: CranePlacement) -> dict[str, Any]:
        """The record as a clock on its site shows it."""
        zone = ZoneInfo(placement.site.time_zone)
        read = {"start": placement.start, "end": placement.end}
        shown = {name: each and each.astimezone(zone).replace(tzinfo=None) for name, each in read.items()}
        return {"site": placement.site_id, **shown}

    def as_meant(self, placement: CranePlacement) -> dict[str, Any]:
        """What is meant instead of the record; a start that was left alone stays to the second."""
        given = dict(self.cleaned_data)
        recorded = placement.start
        if given["start"] == recorded.replace(second=0, microsecond=0):
            given["start"] = recorded
        return given

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if site := given.get("site"):
            for name in ("start", "end"):
                try:
                    given[name] = at_site(given.get(name), site.time_zone)
                except ValidationError as error:
                    self.add_error(name, error)
        return given
