"""Fields and form parts that the pages for records share."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime
from typing import Any, cast

from django import forms
from django.core import signing
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.forms.utils import flatatt
from django.http import QueryDict
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from registry.database.errors import RecordRefused
from registry.equipment.models import Site
from registry.evidence.models import Document
from registry.evidence.uploads import Upload, inspect_upload, keep_upload, owner_of
from registry.language.words import language_name, language_names, language_tag, set_apart
from registry.people.finding import MOST_ALIKE, people_meant
from registry.people.models import Account, Worker
from registry.standards.asked_for import AskedFor, as_asked_for, asked_for
from registry.web.forms import SiteInstant, at_site

SCAN_TYPES = "image/*,application/pdf"
KEPT = "registry.web.records.kept"


class PersonField(forms.CharField):
    """A person by number or name, as typed; :func:`find_people` makes it a worker."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("max_length", 250)
        super().__init__(**options)
        self.widget.attrs.update({"autocomplete": "off", "list": "people-known"})


class OfferingInput(forms.TextInput):
    """A line of text that offers what may be meant, and takes anything else as well.

    ``offered`` gives the texts in the language in force.
    """

    def __init__(self, *, offered: Callable[[], Iterable[str]], **options: Any) -> None:
        super().__init__(**options)
        self.offered = offered

    def render(self, name: str, value: Any, attrs: Any = None, renderer: Any = None) -> SafeString:
        known = f"{name}-offered"
        line = super().render(name, value, {**(attrs or {}), "list": known}, renderer)
        options = format_html_join("", '<option value="{}">', ((each,) for each in self.offered()))
        return format_html('{}<datalist id="{}">{}</datalist>', line, known, options)


class ListedOrNamedInput(forms.Widget):
    """A list to choose from, and a line for what is not on it. Its value is ``[chosen, written]``."""

    def __init__(self, *, listed: Callable[[], list[AskedFor]]) -> None:
        super().__init__()
        self.listed = listed

    def use_required_attribute(self, initial: Any) -> bool:
        """A browser would ask for a choice where something is written instead."""
        return False

    def render(self, name: str, value: Any, attrs: Any = None, renderer: Any = None) -> SafeString:
        listed = self.listed()
        chosen, written = value if isinstance(value, list) else (value or "", "")
        if chosen not in {each.name for each in listed}:
            chosen, written = "", written or chosen
        attributes = self.build_attrs(self.attrs, attrs)
        shown = {
            "name": name,
            "listed": listed,
            "chosen": chosen,
            "written": written,
            "attributes": flatatt(attributes),
        }
        return render_to_string("registry/listed_or_named.html", {**shown, "id": attributes.get("id", name)})

    def value_from_datadict(self, data: Any, files: Any, name: str) -> list[str]:
        return [str(data.get(name) or ""), str(data.get(f"{name}-other") or "")]


class AskedForField(forms.CharField):
    """A topic, scheme or duty: one that role standards ask for, chosen from their list, or another by its name.

    What is written is taken for a listed one where only case, spaces or punctuation
    differ, in the language in force or in English.
    """

    def __init__(self, kind: str, *, also: tuple[str, ...] = (), **options: Any) -> None:
        self.kind, self.also = kind, also
        super().__init__(widget=ListedOrNamedInput(listed=self.listed), **options)

    def listed(self) -> list[AskedFor]:
        """What may be chosen."""
        found = asked_for(self.kind, on=timezone.now().date())
        names = {each.name for each in found}
        return [*found, *(AskedFor(each, ()) for each in self.also if each not in names)]

    def to_python(self, value: Any) -> str:
        chosen, written = value if isinstance(value, list) else (value, "")
        if chosen and written and chosen != written:
            raise ValidationError(gettext("Choose from the list or write another, not both."))
        return as_asked_for(super().to_python(chosen or written) or "", [each.name for each in self.listed()])


class LanguageField(forms.CharField):
    """A language by its name or its BCP 47 tag."""

    def __init__(self, **options: Any) -> None:
        super().__init__(widget=OfferingInput(offered=lambda: language_names().values()), **options)

    def to_python(self, value: Any) -> str:
        return language_tag(super().to_python(value) or "")

    def prepare_value(self, value: Any) -> Any:
        # A tag with a region stays one: its name would not lead back to it.
        return language_name(value) if isinstance(value, str) and "-" not in value else value


def find_people(form: forms.Form, names: Iterable[str], among: QuerySet[Worker]) -> dict[str, Worker]:
    """The workers meant in these fields, in one statement; a doubt becomes the field's error."""
    typed = {name: str(form.cleaned_data[name]).strip() for name in names if form.cleaned_data.get(name)}
    meant = people_meant(typed.values(), among)
    found: dict[str, Worker] = {}
    for name, text in typed.items():
        alike = meant.get(text, [])
        if len(alike) == 1:
            found[name] = alike[0]
        elif alike:
            named = set_apart(f"{each.number} {each}" for each in alike[:MOST_ALIKE])
            form.add_error(name, gettext("Several people may be meant; give the number: %(named)s") % {"named": named})
        else:
            form.add_error(name, gettext("Nobody on the books is meant by this."))
    return found


def as_typed(data: QueryDict, form: forms.Form) -> dict[str, Any]:
    """What was typed, as the initial values of the form shown again unchecked."""
    return {
        name: data.getlist(name) if isinstance(field, forms.MultipleChoiceField) else data.get(name)
        for name, field in form.fields.items()
    }


class ClockForm(forms.Form):
    """A form whose instants are read from the clock of a place that is chosen in it."""

    clock = forms.ChoiceField(label=_("Times by the clock of"))

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.instants = [name for name, field in self.fields.items() if isinstance(field, SiteInstant)]
        if not self.instants:
            del self.fields["clock"]
            return
        zones = list(Site.objects.order_by("time_zone").values_list("time_zone", flat=True).distinct()) or ["UTC"]
        clock = self.fields["clock"]
        clock.choices = [(each, each.replace("_", " ")) for each in zones]  # type: ignore[attr-defined]
        clock.initial = zones[0]
        self.order_fields([*(each for each in self.fields if each != "clock"), "clock"])

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if zone := given.get("clock"):
            for name in self.instants:
                try:
                    given[name] = at_site(given.get(name), zone)
                except ValidationError as error:
                    self.add_error(name, error)
        return given


class ScanField(forms.FileField):
    """A scan or photograph; on a phone the camera takes it."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("label", _("Scan or photograph"))
        options.setdefault("help_text", _("PDF, PNG, JPEG or HEIC, up to 20 MB. On a phone the camera opens."))
        options.setdefault("widget", forms.FileInput(attrs={"accept": SCAN_TYPES, "capture": "environment"}))
        super().__init__(max_length=255, allow_empty_file=True, **options)


class ScanForm(forms.Form):
    """A form with a scan; one that was handed in stays although another field is refused.

    ``kept`` names the stored document, signed for the account that handed it in.
    """

    document = ScanField(required=False)
    kept = forms.CharField(required=False, widget=forms.HiddenInput())

    def __init__(self, *args: Any, account: Account, **options: Any) -> None:
        self.account = account
        self.scan: Document | None = None
        self._upload: Upload | None = None
        super().__init__(*args, **options)

    def clean_document(self) -> Any:
        file = self.cleaned_data.get("document")
        if file:
            try:
                self._upload = inspect_upload(name=file.name, content=file.read(), owner=owner_of(self.account))
            except RecordRefused as refused:
                raise ValidationError([each.message for each in refused.problems]) from refused
        return file

    def clean_kept(self) -> str:
        kept = str(self.cleaned_data.get("kept") or "")
        if kept:
            try:
                owner, document = signing.loads(kept, salt=KEPT)
            except signing.BadSignature as error:
                raise ValidationError(gettext("Choose the file again.")) from error
            if owner == self.account.pk:
                self.scan = Document.objects.defer("content").filter(pk=document, recorded_by=self.account).first()
        return kept

    def keep_scan(self, now: datetime) -> Document | None:
        """Store what was handed in, once, and remember it in the form for its next showing."""
        self.is_valid()
        if self._upload is not None:
            self.scan = keep_upload(upload=self._upload, recorded_at=now, recorded_by=self.account)
            self._upload = None
        if self.scan is not None and self.is_bound:
            typed = cast(QueryDict, self.data).copy()
            typed["kept"] = signing.dumps([self.account.pk, self.scan.pk], salt=KEPT)
            self.data = typed
        return self.scan
