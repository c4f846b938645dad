"""What is typed about a job's notice."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from registry.notices.models import JobParty, SentNotice
from registry.notices.words import PARTY_ROLES, WAYS
from registry.people.models import Account
from registry.web.forms import SiteForm, SiteInstant
from registry.web.records.fields import ScanField, ScanForm


class PartyForm(forms.Form):
    """A party to the job and how to reach it."""

    role = forms.ChoiceField(label=_("Part in the job"), choices=[(each, PARTY_ROLES[each]) for each in JobParty.ROLES])
    name = forms.CharField(label=_("Name"), max_length=200)
    contact_person = forms.CharField(label=_("Contact person"), max_length=200, required=False)
    phone = forms.CharField(
        label=_("Telephone"),
        max_length=50,
        required=False,
        help_text=_("A telephone number or an e-mail address is needed."),
        widget=forms.TextInput(attrs={"type": "tel"}),
    )
    email = forms.EmailField(label=_("E-mail"), required=False, max_length=JobParty._meta.get_field("email").max_length)
    address = forms.CharField(
        label=_("Address"), required=False, max_length=500, widget=forms.Textarea(attrs={"rows": 3})
    )


class ParticularsForm(forms.Form):
    """What the plan does not say."""

    site_address = forms.CharField(
        label=_("Address of the site"),
        required=False,
        max_length=500,
        help_text=_("Blank: the address that the register has of the site, if it has one."),
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    scope = forms.CharField(
        label=_("Nature and scope of the work"),
        required=False,
        max_length=5000,
        help_text=_("Blank: what the plan says is to be done."),
        widget=forms.Textarea(attrs={"rows": 4}),
    )
    configuration = forms.CharField(
        label=_("Configuration of the crane"),
        required=False,
        max_length=500,
        help_text=_("Height, jib, counterweight, ties: as it stands for this work. Blank: what the plan says."),
        widget=forms.Textarea(attrs={"rows": 2}),
    )


class ProcedureForm(ScanForm):
    """A work procedure as a file."""

    title = forms.CharField(label=_("What the procedure is for"), max_length=200)
    document = ScanField(
        label=_("File of the procedure"),
        help_text=_("PDF, PNG, JPEG or HEIC, up to 20 MB. Attach the file again to replace it."),
        required=False,
    )

    def __init__(self, *args: Any, account: Account, **options: Any) -> None:
        super().__init__(*args, account=account, **options)
        self.order_fields(["title", "document", "kept"])

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if not given.get("document") and self.scan is None and "document" not in self.errors:
            self.add_error("document", _("Choose the file of the procedure."))
        return given


class SentForm(SiteForm):
    """When, how and to whom the employer has sent the notice that was shown."""

    sent_at = SiteInstant(label=_("Sent at"), help_text=_("By a clock on the site."))
    how = forms.ChoiceField(label=_("How it was sent"), choices=[(each, WAYS[each]) for each in SentNotice.WAYS])
    sent_to = forms.CharField(
        label=_("To whom"), max_length=300, help_text=_("The authority's office or address, as you sent it.")
    )
    seen = forms.CharField(widget=forms.HiddenInput())
