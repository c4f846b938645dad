"""What somebody lacks for a role: the engine asked about one shift, with nothing recorded.

No decision comes of it: the answer is about an imagined shift on a site like the
one last worked at. Only a job's own decision puts anybody on a crew.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db.models import F, Q, QuerySet
from django.utils.translation import gettext as _

from registry.crews.access import NotAllowed, workers_read_at
from registry.crews.outlook import people_employed
from registry.crews.queries import Answered, Asking, answer, current_jobs, standard_for
from registry.database.errors import RecordRefused, broken
from registry.equipment.models import CraneModel, Site
from registry.evidence.models import HoursEntry
from registry.language.words import in_words
from registry.people.models import Account, Employer, Worker
from registry.standards.models import StandardVersion
from registry.standards.queries import standards_for

SHIFT_STARTS, SHIFT = time(7), timedelta(hours=8)


@dataclass(frozen=True, slots=True)
class Circumstances:
    """The clock and the working language that an imagined shift goes by, and the site they are taken from."""

    time_zone: str
    working_language: str
    site: Site | None


@dataclass(frozen=True, slots=True)
class WantedAnswer:
    """The engine's answer about the imagined shift."""

    answered: Answered
    circumstances: Circumstances


def askable_worker(account: Account, worker_id: int, *, at: datetime) -> Worker:
    """The person that the account may ask about: a worker themself, an employer its people at the instant ``at``.

    Raises :class:`NotAllowed`, whether or not there is such a person.
    """
    asking = account.kind in ("worker", "employer")
    found = workers_read_at(account, at=at).filter(pk=worker_id).first() if asking else None
    if found is None:
        raise NotAllowed(_("You ask about yourself, or as an employer about your own people."))
    return found


def askable_employers(account: Account, worker: Worker) -> QuerySet[Employer]:
    """For whom the worker may be asked about: every employer they ever had; an employer asks for itself."""
    if account.kind == "employer":
        return Employer.objects.filter(accounts=account)
    had = Q(employments__worker=worker, employments__superseded_by__isnull=True, employments__withdrawn=False)
    return Employer.objects.filter(had).distinct().order_by("name")


def askable_standards(employers: QuerySet[Employer], *, day: date) -> list[StandardVersion]:
    """The role standards in force on ``day`` where the employers are."""
    jurisdictions = employers.order_by("jurisdiction").values_list("jurisdiction", flat=True).distinct()
    return [version for each in jurisdictions for version in standards_for(each, day)]


def circumstances_of(worker: Worker, employer: Employer, *, day: date) -> Circumstances:
    """Those of the site where the worker last worked for the employer, else of the employer's newest job.

    Where an employer works now is told to those alone who are on its books on ``day``.
    """
    last = HoursEntry.objects.current().filter(worker=worker, employer=employer).order_by("-end").first()
    site_id = last.site_id if last else None
    if site_id is None and people_employed(employer, day=day).filter(pk=worker.pk).exists():
        site_id = current_jobs().filter(employer=employer).order_by("-start").values_list("site_id", flat=True).first()
    site = None if site_id is None else Site.objects.get(pk=site_id)
    if site is None:
        return Circumstances("UTC", "", None)
    return Circumstances(site.time_zone, site.working_language, site)


def what_is_missing(
    *,
    worker: Worker,
    employer: Employer,
    standard_key: str,
    role: str,
    operation: str,
    model: CraneModel,
    configuration: str = "",
    day: date,
) -> WantedAnswer:
    """What the standard asks of the worker for eight hours from 07:00 on ``day``, met and not met.

    Raises :class:`RecordRefused` where the standard is not one of the employer's
    jurisdiction on that day, or asks nothing of the role in the operation.
    """
    if standard_key not in {each.key for each in standards_for(employer.jurisdiction, day)}:
        raise RecordRefused([broken("standard_is_in_force_for_the_employer")])
    place = circumstances_of(worker, employer, day=day)
    zone = ZoneInfo(place.time_zone)
    start = datetime.combine(day, SHIFT_STARTS, tzinfo=zone)
    asking = Asking(
        worker=worker.pk,
        role=role,
        model=model.pk,
        configuration=configuration,
        operation=operation,
        employer=employer.pk,
        jurisdiction=employer.jurisdiction,
        time_zone=place.time_zone,
        working_language=place.working_language,
        standard_key=standard_key,
        start=start,
        end=start + SHIFT,
    )
    _version, standard = standard_for(asking)
    if (role, operation) not in standard.by_role_and_operation:
        named = {"role": in_words(role), "operation": in_words(operation)}
        raise RecordRefused([broken("standard_speaks_of_the_role", **named)])
    return WantedAnswer(answer(asking), place)


def last_model_of(worker: Worker) -> int | None:
    """The crane model that the worker last worked on."""
    worked = HoursEntry.objects.current().filter(worker=worker).order_by(F("end").desc())
    return worked.values_list("model_id", flat=True).first()
