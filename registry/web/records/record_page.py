"""A person's records one by one, each with its words and what may be done with it, in a fixed number of statements."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import Prefetch, QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from registry.crews.access import WHOLE, RecordReader, reader_of
from registry.database.together import Given, Together
from registry.evidence.corrections import BARS, employers_correct, only_the_registrar_corrects, requests_of
from registry.evidence.kinds import RECORDS, kind_of
from registry.evidence.models import (
    AssessmentSignature,
    CorrectionRequest,
    Countersignature,
    Document,
    StandDownSuspension,
)
from registry.language import amounts, words
from registry.people.models import Account, Worker
from registry.web.templatetags.words import at, on_day
from registry.web.unchecked import mark_assessments, mark_people, mark_signatures

HOURS_SHOWN = 50


@dataclass(frozen=True, slots=True)
class Shown:
    """A record in words; ``corrected`` says that a later one replaces it.

    ``marked`` are its signatures that need a second look, each with its ``signer``
    and what is marked (:mod:`registry.web.unchecked`).
    """

    kind: str
    pk: int
    title: str
    details: str
    corrected: bool
    correctable: bool
    for_the_registrar: bool
    document: Document | None
    drawn: Document | None = None
    marked: list[Any] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Group:
    """Records of one kind."""

    title: str
    slug: str
    records: list[Shown]


@dataclass(frozen=True, slots=True)
class PersonPage:
    """What the page of a person's records shows."""

    worker: Worker
    groups: list[Group]
    hours: Page[Any]
    requests: list[tuple[CorrectionRequest, str]] = field(default_factory=list)


def page_of(worker: Worker, account: Account, number: str | None, *, now: datetime) -> PersonPage:
    """Every record of the worker but hours in full, and one page of hours."""
    titles = {
        "assessment": _("Practical assessments"),
        "certification": _("Certificates"),
        "certificationstatus": _("Certificates suspended, revoked or reinstated"),
        "instruction": _("Instruction"),
        "appointment": _("Appointments"),
        "standdown": _("Stand-downs"),
        "employment": _("Employment"),
        "languageskill": _("Languages"),
    }
    reader = reader_of(account, worker.pk, at=now)
    hours = Paginator(_records("hoursentry", worker, reader).order_by("-start", "-id"), HOURS_SHOWN).get_page(number)
    mark_people([worker])
    mark_signatures(hours)
    shown = [shown_of(each, account) for each in hours]
    groups = [Group(_("Hands-on hours"), "hours", shown)]
    asked = _whole_record(*titles) if reader.left is None else _record(reader, *titles)
    for (kind, title), records in zip(titles.items(), asked.read(worker=worker.pk), strict=True):
        if kind == "assessment":
            mark_assessments(records)
        groups.append(Group(title, kind, [shown_of(each, account) for each in records]))
    requests = [(each, _asked_about(each)) for each in reader.records(requests_of(worker))]
    return PersonPage(worker, groups, hours, requests)


def bars_of(worker: Worker, account: Account, *, now: datetime) -> list[Shown]:
    """What keeps or kept the worker off the crews, and what ended it, that the registrar may take back."""
    reader = reader_of(account, worker.pk, at=now)
    return [
        shown
        for kind, which in BARS.items()
        for shown in (shown_of(each, account) for each in _records(kind, worker, reader).filter(which).order_by("-id"))
        if not shown.corrected
    ]


@cache
def _whole_record(*kinds: str) -> Together:
    return _record(WHOLE, *kinds)


def _record(reader: RecordReader, *kinds: str) -> Together:
    return Together(*(_records(kind, Given("worker"), reader).order_by("-id") for kind in kinds))


def _records(kind: str, worker: Worker | Given, reader: RecordReader) -> QuerySet[Any]:
    related = {
        "hoursentry": ("model__maker", "site"),
        "assessment": ("model__maker", "assessor"),
        "certificationstatus": ("certification",),
        "instruction": ("model__maker",),
        "appointment": ("employer", "maker", "model__maker"),
        "standdown": ("model__maker", "employer"),
        "employment": ("employer",),
    }
    records = reader.records(RECORDS[kind].objects.filter(worker=worker, withdrawn=False))
    records = records.select_related("superseded_by", "recorded_by", *related.get(kind, ()))
    if any(each.name == "document" for each in RECORDS[kind]._meta.fields):
        records = records.prefetch_related(Prefetch("document", Document.objects.defer("content")))
    if kind == "hoursentry":
        signed = reader.remarks(Countersignature.objects.select_related("by"))
        records = records.prefetch_related(Prefetch("countersignatures", signed))
    if kind == "standdown":
        rests = reader.records(StandDownSuspension.objects.current())
        records = records.prefetch_related(Prefetch("suspensions", rests), "retraining")
    if kind == "assessment":
        drawn = AssessmentSignature.objects.prefetch_related(Prefetch("image", Document.objects.defer("content")))
        records = records.prefetch_related(Prefetch("drawn_signature", drawn))
    return records


def shown_of(record: Any, account: Account) -> Shown:
    """A record in words, with what the account may do: an employer what it answers for, a worker asks."""
    title, details = _WORDS[kind_of(record)](record)
    drawn = getattr(record, "drawn_signature", None) if kind_of(record) == "assessment" else None
    return Shown(
        kind=kind_of(record),
        pk=record.pk,
        title=title[:1].upper() + title[1:],
        details=details,
        corrected=getattr(record, "superseded_by", None) is not None,
        correctable=account.kind == "employer" and employers_correct(record),
        for_the_registrar=account.kind == "employer" and only_the_registrar_corrects(record),
        document=getattr(record, "document", None),
        drawn=None if drawn is None else drawn.image,
        marked=_marked(record),
    )


def _marked(record: Any) -> list[Any]:
    signatures: list[Any] = []
    if kind_of(record) == "hoursentry":
        signatures = list(record.countersignatures.all())
    elif kind_of(record) == "assessment":
        signatures = [record]
    found = [each for each in signatures if getattr(each, "unchecked_firm", "") or getattr(each, "denied", False)]
    for each in found:
        each.signer = each.assessor if each is record else each.by
    return found


def in_words(record: Any) -> str:
    """A record in one line."""
    title, details = _WORDS[kind_of(record)](record)
    title = title[:1].upper() + title[1:]
    return _("%(title)s: %(details)s") % {"title": title, "details": details} if details else title


def _asked_about(request: CorrectionRequest) -> str:
    return {
        "hoursentry": _("hours"),
        "assessment": _("an assessment"),
        "certification": _("a certificate"),
        "certificationstatus": _("a certificate's status"),
        "instruction": _("instruction"),
        "appointment": _("an appointment"),
        "standdown": _("a stand-down"),
        "employment": _("employment"),
        "languageskill": _("a language"),
    }[request.record_kind]


def _utc(instant: datetime | None) -> str:
    return f"{at(instant, 'UTC')} UTC"


def _until(start: str, end: str) -> str:
    return (
        _("%(start)s until %(end)s") % {"start": start, "end": end} if end else _("from %(start)s") % {"start": start}
    )


def _joined(parts: Iterable[Any]) -> str:
    return words.set_apart(str(each) for each in parts if each)


def _hours(record: Any) -> tuple[str, str]:
    zone = record.site.time_zone
    signers = ", ".join(str(each.by) for each in record.countersignatures.all())
    signed = _("countersigned by %(names)s") % {"names": signers} if signers else _("not countersigned")
    return (
        _("%(operation)s, %(start)s to %(end)s")
        % {"operation": words.in_words(record.operation), "start": at(record.start, zone), "end": at(record.end, zone)},
        _joined([record.model, record.site, words.in_words(record.capacity), signed]),
    )


def _assessment(record: Any) -> tuple[str, str]:
    met = sum(1 for each in record.tasks if each["met"])
    tasks = _("%(met)s of %(all)s tasks met") % {"met": met, "all": len(record.tasks)} if record.tasks else ""
    by = _("by %(name)s") % {"name": record.assessor}
    return (
        _("%(outcome)s as %(role)s") % {"outcome": words.in_words(record.outcome), "role": words.in_words(record.role)},
        _joined(
            [record.model, words.listed(record.operations), _utc(record.assessed_at), by, record.third_party, tasks]
        ),
    )


def _certification(record: Any) -> tuple[str, str]:
    expires = _("expires %(day)s") % {"day": amounts.day(record.expires)} if record.expires else _("no expiry")
    issued = _("issued %(day)s") % {"day": amounts.day(record.issued)}
    return str(record), _joined([record.issuer, issued, expires])


def _certification_status(record: Any) -> tuple[str, str]:
    from_then = _("from %(start)s") % {"start": _utc(record.effective_at)}
    return f"{record.certification}: {words.in_words(record.status)}", _joined([from_then, record.reason])


def _instruction(record: Any) -> tuple[str, str]:
    counted = ngettext("%(minutes)s minute", "%(minutes)s minutes", record.minutes or 0)
    minutes = counted % {"minutes": record.minutes} if record.minutes else ""
    topic = words.in_words(record.topic)
    provider = record.provider_name or words.in_words(record.provider)
    return topic, _joined([on_day(record.completed_at, "UTC"), provider, record.model, minutes])


def _appointment(record: Any) -> tuple[str, str]:
    period = _until(on_day(record.start, "UTC"), on_day(record.end, "UTC"))
    authority = _("with authority to stop work") if record.stop_work_authority else ""
    who = record.employer or record.maker
    return words.in_words(record.duty), _joined(
        [words.in_words(record.kind), period, who, record.appointed_by, authority]
    )


def _stand_down(record: Any) -> tuple[str, str]:
    role = words.in_words(record.role) if record.role else _("every role")
    model = record.model or _("every model")
    where = _("at %(employer)s alone") % {"employer": record.employer} if record.employer else _("everywhere")
    rests = [
        _("suspended from %(start)s") % {"start": _utc(each.start)}
        if each.end is None
        else _("suspended from %(start)s until %(end)s") % {"start": _utc(each.start), "end": _utc(each.end)}
        for each in record.suspensions.all()
        if not each.withdrawn and getattr(each, "superseded_by", None) is None
    ]
    since = _("from %(start)s") % {"start": _utc(record.start)}
    return f"{role}, {model}", _joined([since, where, record.reason, *rests, _still_missing(record)])


def _still_missing(bar: Any) -> str:
    """What lifts the stand-down and is not on record, as far as records alone say."""
    answers = [each for each in bar.retraining.all() if not each.withdrawn and each.pk not in _replaced(bar)]
    if not answers:
        return _("still missing: retraining with its paper, and a practical assessment passed after it")
    return _("retrained on %(day)s; lifted by a practical assessment passed after that") % {
        "day": on_day(min(each.completed_at for each in answers), "UTC")
    }


def _replaced(bar: Any) -> set[int | None]:
    return {each.supersedes_id for each in bar.retraining.all()}


def _employment(record: Any) -> tuple[str, str]:
    return str(record.employer), _until(amounts.day(record.start), amounts.day(record.end) if record.end else "")


def _language(record: Any) -> tuple[str, str]:
    return words.language_name(record.language), ""


_WORDS: dict[str, Callable[[Any], tuple[str, str]]] = {
    "hoursentry": _hours,
    "assessment": _assessment,
    "certification": _certification,
    "certificationstatus": _certification_status,
    "instruction": _instruction,
    "appointment": _appointment,
    "standdown": _stand_down,
    "employment": _employment,
    "languageskill": _language,
}
