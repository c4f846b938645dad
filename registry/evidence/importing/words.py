"""What people call the fields of a table."""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

TITLES: dict[str, Promise] = {
    "assessor": _("assessor"),
    "assessor_date_of_birth": _("assessor's date of birth"),
    "capacity": _("worked as"),
    "classes": _("crane classes"),
    "configuration": _("configuration"),
    "countersigned_at": _("countersigned at"),
    "countersigned_on": _("countersigned on"),
    "countersigner": _("countersigner"),
    "countersigner_date_of_birth": _("countersigner's date of birth"),
    "crane": _("crane, by its serial number"),
    "date": _("date"),
    "date_of_birth": _("date of birth"),
    "duration": _("duration"),
    "employed_from": _("employed from"),
    "end": _("end"),
    "end_date": _("end date"),
    "expires": _("expires"),
    "family_name": _("family name"),
    "given_name": _("given name"),
    "issued": _("issued"),
    "issuer": _("issuer"),
    "languages": _("languages"),
    "maker": _("maker"),
    "model": _("crane model"),
    "models": _("crane models"),
    "number": _("number"),
    "operation": _("operation"),
    "operations": _("operations"),
    "origin": _("origin"),
    "outcome": _("outcome"),
    "role": _("role"),
    "scheme": _("scheme"),
    "scope": _("scope"),
    "site": _("site"),
    "start": _("start"),
    "third_party": _("third party"),
    "time": _("time"),
    "worker": _("worker"),
    "worker_date_of_birth": _("worker's date of birth"),
}


def field_in_words(name: str) -> str:
    """A field as people say it, in the language in force."""
    return str(TITLES[name])
