"""Bringing in people."""

from __future__ import annotations

from collections import Counter, defaultdict
from datetime import date
from functools import cached_property
from typing import Any

from registry.evidence.importing.columns import Field, folded
from registry.evidence.importing.kind import (
    OneByOne,
)
from registry.evidence.importing.rows import MappedRow
from registry.people.models import Employer, Employment, LanguageSkill, Worker
from registry.people.names import name_key
from registry.people.services import employ, record_language, rehearse_worker, take_on

MOST_NAMESAKES = 2
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
        Field("employed_from", ("employed since", "employment start", "start date", "hired", "embauché le"), True),
        Field("languages", ("language", "langue", "langues")),
    )

    shown_at = {"language": "languages", "start": "employed_from", "end": "employed_from"}

    def write_row(self, row: MappedRow) -> bool:
        for each in ("given_name", "family_name", "date_of_birth", "employed_from"):
            # Without an employment nobody would find the person again.
            row.required(each)
        given, family, born = row.text("given_name"), row.text("family_name"), row.day("date_of_birth")
        number, start = row.text("number"), row.day("employed_from")
        languages = [LANGUAGE_SPELLINGS.get(folded(each), each) for each in row.parts("languages", longest=35)]
        if born is not None and born >= self.context.recorded_at.date():
            row.refuse("date_of_birth", "date_of_birth_is_past")
        if row.problems or born is None or start is None:
            return False
        worker = self._books.person(number, given, family, born)
        if worker is None and number:
            row.refuse("number", "worker_is_on_the_books")
            return False
        recording: dict[str, Any] = {"recorded_at": self.context.recorded_at, "recorded_by": self.context.recorded_by}
        new = worker is None
        if worker is None and self._too_many_of_one_name(given, family):
            row.refuse("family_name", "namesakes_are_taken_on_one_by_one", most=MOST_NAMESAKES)
            return False
        if worker is None:
            worker = self._taken_on(given, family, born, start, recording)
        elif (worker.pk, start) not in self._books.starts:
            employ(worker=worker, employer=self.context.employer, start=start, **recording)
            new = True
        spoken = self._books.languages[worker.pk]
        fresh = [each for each in dict.fromkeys(languages) if each not in spoken]
        for language in fresh:
            record_language(worker=worker, language=language, **recording)
        # Only now is nothing of the row refused any more.
        self._books.add(worker, start, fresh)
        return new or bool(fresh)

    def _taken_on(self, given: str, family: str, born: date, start: date, recording: dict[str, Any]) -> Worker:
        """A new person on the books, by the same service as on the page of new people.

        A dry run asks nobody whether the person is registered: it answers for everybody who is not on
        the employer's books as for somebody unknown.
        """
        if not self.context.report.dry_run:
            return take_on(
                given_name=given,
                family_name=family,
                date_of_birth=born,
                employer=self.context.employer,
                start=start,
                **recording,
            )
        worker = rehearse_worker(
            given_name=given, family_name=family, date_of_birth=born, told_to=self.context.employer, **recording
        )
        employ(worker=worker, employer=self.context.employer, start=start, **recording)
        return worker

    def _too_many_of_one_name(self, given: str, family: str) -> bool:
        """Whether the table has had its new people of this name: with more, it could try one date of birth after
        the other, and learn which is somebody's who is registered."""
        if self.context.by_the_command:
            return False
        key = name_key(given, family)
        self._namesakes[key] += 1
        return self._namesakes[key] > MOST_NAMESAKES

    @cached_property
    def _namesakes(self) -> Counter[str]:
        return Counter()

    @cached_property
    def _books(self) -> Books:
        return Books(self.context.employer)


class Books:
    """Whom the employer has or had on its books, read once for a whole table."""

    def __init__(self, employer: Employer) -> None:
        own = Employment.objects.filter(employer=employer)
        # A corrected employment counts as there too: the file's line led to it.
        self.starts = set(own.values_list("worker_id", "start"))
        people = Worker.objects.filter(pk__in=own.current().values("worker")).order_by("-id")
        self._by_number = {each.number: each for each in people}
        self._by_name = {(each.given_name, each.family_name, each.date_of_birth): each for each in people}
        self.languages: dict[int, set[str]] = defaultdict(set)
        spoken = LanguageSkill.objects.current().filter(worker__in=[each.pk for each in people])
        for worker_id, language in spoken.values_list("worker_id", "language"):
            self.languages[worker_id].add(language)

    def person(self, number: str, given: str, family: str, born: date) -> Worker | None:
        """The person on the books of this name and date of birth, and of this number if one is written."""
        if not number:
            return self._by_name.get((given, family, born))
        numbered = self._by_number.get(number.upper())
        if numbered is None or numbered.date_of_birth != born:
            return None
        return numbered if name_key(numbered.given_name, numbered.family_name) == name_key(given, family) else None

    def add(self, worker: Worker, start: date, languages: list[str]) -> None:
        """What a row brought in, for the rows after it."""
        self.starts.add((worker.pk, start))
        self._by_number[worker.number] = worker
        self._by_name[worker.given_name, worker.family_name, worker.date_of_birth] = worker
        self.languages[worker.pk].update(languages)
