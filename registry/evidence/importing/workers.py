"""Bringing in people."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.utils.translation import gettext as _

from registry.database.errors import Problem, RecordRefused
from registry.evidence.importing.columns import Field, folded
from registry.evidence.importing.kind import (
    OneByOne,
)
from registry.evidence.importing.rows import MappedRow
from registry.people.models import Employment, LanguageSkill, Worker
from registry.people.services import employ, record_language, register_worker, registered_as

LANGUAGE_SPELLINGS = {
    "english": "en",
    "anglais": "en",
    "french": "fr",
    "francais": "fr",
    "german": "de",
    "deutsch": "de",
    "allemand": "de",
    "spanish": "es",
    "espanol": "es",
    "espagnol": "es",
    "portuguese": "pt",
    "portugais": "pt",
    "polish": "pl",
    "polonais": "pl",
}


class Workers(OneByOne):
    """People, from when the employer employs them, and their languages."""

    name = "workers"
    fields = (
        Field("given_name", ("given name", "first name", "forename", "prénom"), True, longest=100),
        Field("family_name", ("family name", "last name", "surname", "nom", "nom de famille"), True, longest=100),
        Field("date_of_birth", ("date of birth", "born", "birth date", "date de naissance", "né le"), True),
        Field("number", ("worker number", "registered number", "numéro", "matricule"), longest=20),
        Field("employed_from", ("employed since", "employment start", "start date", "hired", "embauché le")),
        Field("languages", ("language", "langue", "langues")),
    )

    def write_row(self, row: MappedRow) -> bool:
        for each in ("given_name", "family_name", "date_of_birth"):
            row.required(each)
        if self.context.recorded_by is not None:
            # Nobody else would find the person again.
            row.required("employed_from")
        given, family, born = row.text("given_name"), row.text("family_name"), row.day("date_of_birth")
        employed_from = row.day("employed_from")
        languages = [LANGUAGE_SPELLINGS.get(folded(each), each) for each in row.parts("languages", longest=35)]
        if row.problems or born is None:
            return False
        recording: dict[str, Any] = {"recorded_at": self.context.recorded_at, "recorded_by": self.context.recorded_by}
        new = False
        worker = self._known(given, family, born)
        if worker is None and (number := row.text("number")):
            if self.context.recorded_by is not None:
                # In a table somebody could try one number after the other.
                message = _("Take on somebody who is registered already on the page of new people, one by one.")
                raise RecordRefused([Problem("number", "people_are_taken_on_one_by_one", message)])
            worker = registered_as(number, given, family, born)
        if worker is None:
            told_to = None if self.context.recorded_by is None else self.context.employer
            worker = register_worker(
                given_name=given, family_name=family, date_of_birth=born, told_to=told_to, **recording
            )
            new = True
        if employed_from is not None and not self._employed(worker, employed_from):
            employ(worker=worker, employer=self.context.employer, start=employed_from, **recording)
            new = True
        spoken = set(LanguageSkill.objects.current().filter(worker=worker).values_list("language", flat=True))
        for language in dict.fromkeys(languages):
            if language not in spoken:
                record_language(worker=worker, language=language, **recording)
                new = True
        return new

    shown_at = {"language": "languages", "start": "employed_from", "end": "employed_from"}

    def _known(self, given: str, family: str, born: date) -> Worker | None:
        """The person by name and date of birth: for an account among those its employer has or had on its books."""
        known = Worker.objects.filter(given_name=given, family_name=family, date_of_birth=born)
        if self.context.recorded_by is not None:
            own = Employment.objects.current().filter(employer=self.context.employer)
            known = known.filter(pk__in=own.values("worker"))
        return known.first()

    def _employed(self, worker: Worker, start: date) -> bool:
        # A corrected employment counts as there too: the file's line led to it.
        return Employment.objects.filter(worker=worker, employer=self.context.employer, start=start).exists()
