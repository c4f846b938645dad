"""Who is registered already and may be the same person: found before somebody is registered, or noted after.

What an employer is shown are people on its own books, or that it recorded. That a stranger is registered is told to
nobody but the registrar and inspectors, who have the list of possible twins.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import connection, transaction
from django.db.models import F, Q, QuerySet
from django.utils.translation import gettext_lazy as _

from registry.database.errors import RecordRefused, broken, refusals
from registry.database.repeating import repeating
from registry.people.likeness import Identity, Likeness, keys_sought, likeness
from registry.people.models import Account, Employer, Employment, PossibleTwin, SettledTwin, Worker
from registry.people.registrars import is_registrar

MOST_OF_A_KEY = 50
"""People looked at for one key, the latest first: however many are of one name, each search stays short."""
# As a lateral subquery, whose limit keeps thousands of one name from being read for each other.
FOUND = """
SELECT wanted.key, found.id FROM unnest(%s::text[]) AS wanted (key)
CROSS JOIN LATERAL (
    SELECT id FROM people_worker WHERE lookalike_keys @> ARRAY[wanted.key] ORDER BY id DESC LIMIT %s) found
"""


IN_WORDS = {
    "same_name": _("the same name but for its spelling"),
    "initials": _("a name of initials or shortened"),
    "one_letter": _("one letter's difference"),
    "same_day": _("the same date of birth"),
    "no_day": _("a date of birth is missing"),
    "day_off": _("born a day apart"),
    "month_off": _("born a month apart"),
    "year_off": _("born a year apart"),
    "swapped": _("figures of the date of birth swapped"),
}


@dataclass(frozen=True, slots=True)
class Candidate:
    """Somebody to be registered; ``worker_id`` where they just were, so that they are not found themselves."""

    given_name: str
    family_name: str
    date_of_birth: date | None = None
    worker_id: int | None = None

    @property
    def identity(self) -> Identity:
        """What is compared."""
        return Identity(self.given_name, self.family_name, self.date_of_birth)


@dataclass(frozen=True, slots=True)
class Lookalike:
    """Somebody who is registered, and in what the candidate looks like them."""

    worker: Worker
    likeness: Likeness


def find_lookalikes(people: Sequence[Candidate]) -> dict[int, list[Lookalike]]:
    """For each candidate's place in ``people`` who may be the same, by number; two statements, however many they are.

    Everybody in the register is looked at: what of it may be shown is :func:`shown_to_employer`'s. Places of
    candidates who look like nobody are left out.
    """
    sought = {place: keys_sought(each.identity) for place, each in enumerate(people)}
    by_key = _holders(dict.fromkeys(key for keys in sought.values() for key in keys))
    workers = Worker.objects.in_bulk({each for holders in by_key.values() for each in holders})
    found: dict[int, list[Lookalike]] = {}
    for place, candidate in enumerate(people):
        numbers = {each for key in sought[place] for each in by_key.get(key, ())} - {candidate.worker_id}
        alike = [
            Lookalike(workers[number], how)
            for number in sorted(numbers)
            if (how := likeness(candidate.identity, _identity(workers[number]))) is not None
        ]
        if alike:
            found[place] = alike
    return found


def _holders(keys: Iterable[str]) -> dict[str, list[int]]:
    wanted = list(keys)
    found: dict[str, list[int]] = {}
    if wanted:
        with connection.cursor() as cursor:
            cursor.execute(FOUND, [wanted, MOST_OF_A_KEY])
            for key, number in cursor.fetchall():
                found.setdefault(key, []).append(number)
    return found


def _identity(worker: Worker) -> Identity:
    return Identity(worker.given_name, worker.family_name, worker.date_of_birth)


def known_to(employer: Employer) -> QuerySet[Worker]:
    """The people of whom an employer may be told that they are registered: once on its books, or recorded by it."""
    employed = Employment.objects.current().filter(employer=employer)
    return Worker.objects.filter(Q(pk__in=employed.values("worker")) | Q(recorded_by__employer=employer))


def shown_to_employer(found: Iterable[Lookalike], employer: Employer) -> list[Lookalike]:
    """Those of the look-alikes that the employer knows; one statement."""
    alike = list(found)
    known = set(known_to(employer).filter(pk__in=[each.worker.pk for each in alike]).values_list("pk", flat=True))
    return [each for each in alike if each.worker.pk in known]


def alike_in_words(how: Likeness) -> str:
    """In what two people are alike, as people say it: ``same name, day and month swapped``."""
    return ", ".join(str(each) for each in (IN_WORDS[how.names], IN_WORDS[how.dates]))


@repeating
def note_possible_twins(
    *,
    found: Mapping[Worker, Sequence[Lookalike]],
    told_apart: Iterable[int] = (),
    recorded_at: datetime,
    recorded_by: Account | None,
) -> list[PossibleTwin]:
    """Note for the registrar whom the newly registered look like; one statement.

    ``told_apart`` are the ids of those who were shown, and of whom ``recorded_by`` said that they are other people.
    """
    apart = set(told_apart)
    return PossibleTwin.objects.bulk_create(
        PossibleTwin(
            worker=worker,
            other=each.worker,
            names=each.likeness.names,
            dates=each.likeness.dates,
            told_apart=each.worker.pk in apart,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )
        for worker, alike in found.items()
        for each in alike
    )


def possible_twins() -> QuerySet[PossibleTwin]:
    """All that was noted, what nobody settled first and then the latest, with both people and who recorded them."""
    found = PossibleTwin.objects.select_related(
        "worker__recorded_by__employer",
        "other__recorded_by__employer",
        "recorded_by__employer",
        "settled__recorded_by",
    )
    return found.order_by(F("settled__recorded_at").desc(nulls_first=True), "-recorded_at", "-id")


@repeating
def settle_twin(
    *, twin: PossibleTwin, found: str, reason: str, recorded_at: datetime, recorded_by: Account
) -> SettledTwin:
    """The registrar says whether two who look alike are ``two_people`` or ``one_person``, and what showed it."""
    if not is_registrar(recorded_by):
        raise RecordRefused([broken("an_act_of_the_registrar_names_the_registrar")])
    with refusals(), transaction.atomic():
        return SettledTwin.objects.create(
            twin=twin, found=found, reason=reason.strip(), recorded_at=recorded_at, recorded_by=recorded_by
        )
