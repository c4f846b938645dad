"""Pages that put records into the register: fetch, call one service, render."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.paginator import Page, Paginator
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.datastructures import MultiValueDict
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_GET, require_http_methods

from registry.crews import access, record_access
from registry.crews.standing_down import StoodDown, stand_down
from registry.evidence import assessing, corrections, countersigning, services
from registry.evidence.apart.running import Stopped, turn
from registry.evidence.apart.tables import Row
from registry.evidence.importing import KINDS, FileRefused, ImportOptions, ImportReport, TableReading, headings_of
from registry.evidence.importing import import_table as bring_in_table
from registry.evidence.models import Assessment, Document
from registry.evidence.uploads import owner_of
from registry.language.amounts import instant
from registry.language.words import in_words as in_words_of
from registry.people import consent
from registry.people import services as people
from registry.people.lookalikes import Candidate, find_lookalikes, shown_to_employer
from registry.people.models import Account, Employer, Worker
from registry.people.second_factor import has_second_factor
from registry.web.forms import people_named, refused_beside_fields
from registry.web.limits import asked_too_often, within_limit
from registry.web.records.fields import ScanForm, as_typed
from registry.web.records.forms import (
    ENCODINGS,
    FIRST_LINES,
    MORE_LINES,
    AppointmentForm,
    AskPersonForm,
    CertificateForm,
    CertificateStatusForm,
    CorrectionRequestForm,
    EmploymentForm,
    InstructionForm,
    LanguageForm,
    MappingForm,
    NewPersonForm,
    OwnAssessmentForm,
    PersonsCodeForm,
    ReasonForm,
    RecordForm,
    ReplyForm,
    SheetForm,
    SignerForm,
    SigningForm,
    StandDownForm,
    TableForm,
    TellApartForm,
    ThirdPartyAssessmentForm,
    correction_form,
    sheet_for,
)
from registry.web.records.record_page import in_words, page_of, shown_of
from registry.web.security import came_back
from registry.web.unchecked import mark_people
from registry.web.views import download, number_in, page, posted, status_of

ENTRIES_ON_A_PAGE = 100
PREVIEWED = 20
MOST_NAMES = 300
MOST_ASKED = 20


WAITING_FOR = {"employer": "correction_requests", "registrar": "bar_requests"}
"""Where requests wait for whose answer, by the kind of account; for an assessor beside the assessments."""


def _change_status(*, worker: Worker, certification: Any, **given: Any) -> Any:
    return services.change_certification_status(certification=certification, **given)


# What a person's page offers to add: the words, the form, the service.
ADDITIONS: dict[str, tuple[Any, type[RecordForm], Callable[..., Any]]] = {
    "certificate": (gettext_lazy("Certificate"), CertificateForm, services.record_certification),
    "certificate-status": (
        gettext_lazy("Certificate suspended, revoked or reinstated"),
        CertificateStatusForm,
        _change_status,
    ),
    "instruction": (gettext_lazy("Instruction"), InstructionForm, services.record_instruction),
    "appointment": (gettext_lazy("Appointment"), AppointmentForm, services.appoint),
    "third-party-assessment": (
        gettext_lazy("Assessment by a third party"),
        ThirdPartyAssessmentForm,
        assessing.record_third_partys_assessment,
    ),
    "stand-down": (gettext_lazy("Stand-down"), StandDownForm, stand_down),
    "employment": (gettext_lazy("Employment"), EmploymentForm, people.employ),
    "language": (gettext_lazy("Language"), LanguageForm, people.record_language),
}


@page
@require_GET
def records_home(request: HttpRequest, *, account: Account) -> HttpResponse:
    employer = record_access.recording_employer(account)
    shown = {
        "waiting": countersigning.waiting_at(employer).count(),
        "objections": countersigning.objections_at(employer).count(),
        "nobody_asked": countersigning.nobody_asked(employer).count(),
        "requests": corrections.open_requests(employer).count(),
        "jobs": access.visible_jobs(account).order_by("-start", "-id")[:12],
    }
    return render(request, "records/home.html", shown)


# Hours of a crew


@page
@require_http_methods(["GET", "POST"])
def hours_sheet(request: HttpRequest, *, account: Account) -> HttpResponse:
    employer = record_access.recording_employer(account)
    own = record_access.own_workers(account)
    form = _sheet(request, account)
    if "more" not in request.POST and form.is_valid():
        with form.refused_beside_lines():
            recorded = countersigning.record_shift(
                rows=form.rows(employer),
                signer=form.found.get("signer"),
                recorded_at=timezone.now(),
                recorded_by=account,
            )
            said = ngettext(
                "Recorded: the hours of one person.", "Recorded: the hours of %(number)s people.", len(recorded)
            )
            messages.success(request, said % {"number": len(recorded)})
            return redirect("countersigning")
    jobs = access.visible_jobs(account).order_by("-start", "-id")[:12]
    shown = {"form": form, "jobs": jobs, "known": own[:MOST_NAMES]}
    return render(request, "records/hours.html", shown, status=status_of(form))


def _sheet(request: HttpRequest, account: Account) -> SheetForm:
    own = record_access.own_workers(account)
    if request.method == "POST":
        lines = max(number_in(request.POST.get("lines"), FIRST_LINES), 1)
        if "more" in request.POST:
            lines += MORE_LINES
            typed = as_typed(request.POST, SheetForm(people=own, lines=lines))
            return SheetForm(people=own, lines=lines, initial=typed)
        return SheetForm(request.POST, people=own, lines=lines)
    given: dict[str, Any] = {}
    if job_id := number_in(request.GET.get("job"), 0):
        given = sheet_for(get_object_or_404(access.visible_jobs(account), pk=job_id))
    return SheetForm(people=own, **given)


# Countersigning


@page
@require_http_methods(["GET", "POST"])
def to_countersign(request: HttpRequest, *, account: Account) -> HttpResponse:
    signer = record_access.signing_worker(account)
    declining = request.POST.get("do") == "decline"
    form = SigningForm(posted(request), declining=declining)
    if form.is_valid():
        with refused_beside_fields(form):
            stroke: dict[str, Any] = {"signer": signer, "at": timezone.now(), "recorded_by": account}
            if declining:
                countersigning.decline_entries(**form.cleaned_data, **stroke)
                messages.success(request, _("Declined. The employer has your question."))
            else:
                signed = countersigning.sign_entries(entry_ids=form.cleaned_data["entry_ids"], **stroke)
                messages.success(request, _("Countersigned: %(number)s.") % {"number": signed})
            return redirect("to_countersign")
    second_factor = has_second_factor(account)
    if second_factor:
        came_back(request)
    waiting = _entries(request, countersigning.waiting_with_answers(signer), "page")
    shown = {
        "form": form,
        "second_factor": second_factor,
        "ticked": form.ticked() or _ticked_at_once(request, [each.entry_id for each in waiting]),
        "waiting": waiting,
        "declined": _entries(request, countersigning.declined_by(signer), "declined"),
    }
    return render(request, "records/to_countersign.html", shown, status=status_of(form))


@page
@require_http_methods(["GET", "POST"])
def countersigning_queue(request: HttpRequest, *, account: Account) -> HttpResponse:
    employer = record_access.recording_employer(account)
    own = record_access.own_workers(account)
    form = SignerForm(posted(request), people=own)
    if form.is_valid():
        with refused_beside_fields(form):
            asked = countersigning.ask_about(
                employer=employer,
                entry_ids=form.cleaned_data["entry_ids"],
                of=form.found["signer"],
                recorded_at=timezone.now(),
                recorded_by=account,
            )
            sentence = _("%(person)s is asked to countersign: %(number)s.")
            messages.success(request, sentence % {"person": form.found["signer"], "number": len(asked)})
            return redirect("countersigning")
    unasked = _entries(request, countersigning.nobody_asked(employer), "page")
    waiting_for = list(countersigning.signers_waited_for(employer))
    mark_people(signer for signer, _count in waiting_for)
    shown = {
        "form": form,
        "ticked": form.ticked() or _ticked_at_once(request, [each.pk for each in unasked]),
        "known": own[:MOST_NAMES],
        "waiting": _entries(request, countersigning.waiting_at(employer), "waiting"),
        "waiting_for": waiting_for,
        "objections": _entries(request, countersigning.objections_at(employer), "declined"),
        "unasked": unasked,
    }
    return render(request, "records/countersigning.html", shown, status=status_of(form))


def _entries(request: HttpRequest, found: QuerySet[Any], name: str) -> Page[Any]:
    """One page of a list; its number stands in the address as ``name``."""
    return Paginator(found, ENTRIES_ON_A_PAGE).get_page(request.GET.get(name))


def _ticked_at_once(request: HttpRequest, entries: list[int]) -> list[int]:
    """All entries of the page, where "tick all" was pressed and nothing was sent yet."""
    return entries if request.method == "GET" and request.GET.get("tick") == "all" else []


@page
@require_http_methods(["GET", "POST"])
def answer_objection(request: HttpRequest, *, account: Account, objection_id: int) -> HttpResponse:
    objection = record_access.objection_to_answer(account, objection_id)
    form = ReplyForm(posted(request))
    if form.is_valid():
        with refused_beside_fields(form):
            countersigning.answer_objection(
                objection=objection,
                reply=form.cleaned_data["reply"],
                recorded_at=timezone.now(),
                recorded_by=account,
            )
            messages.success(request, _("Answered. The hours wait for the signer again."))
            return redirect("countersigning")
    return render(request, "records/objection.html", {"objection": objection, "form": form}, status=status_of(form))


# Assessments


@page
@require_GET
def assessments(request: HttpRequest, *, account: Account) -> HttpResponse:
    assessor = record_access.signing_worker(account)
    came_back(request)
    assessable = record_access.assessable_workers(account, at=timezone.now())
    given = Assessment.objects.filter(assessor=assessor, third_party="", withdrawn=False)
    given = given.select_related("worker", "model__maker", "assessor", "superseded_by").order_by("-assessed_at", "-id")
    latest = Paginator(given, 50).get_page(request.GET.get("page"))
    shown = {
        "people": people_named(request, assessable),
        "given": [(each.worker, shown_of(each, account)) for each in latest],
        "page": latest,
        "requests": corrections.open_requests_about_assessments_by(assessor),
    }
    return render(request, "records/assessments.html", shown)


@page
@require_http_methods(["GET", "POST"])
def assess(request: HttpRequest, *, account: Account, worker_id: int) -> HttpResponse:
    now = timezone.now()
    worker = get_object_or_404(record_access.assessable_workers(account, at=now), pk=worker_id)
    employer = record_access.employer_assessed_for(account, worker, at=now)
    if employer is None:
        raise Http404
    form = _assessment_form(request, OwnAssessmentForm, account, now, worker=worker, employer=employer)
    if form.is_valid():
        with refused_beside_fields(form):
            assessing.record_own_assessment(
                assessor=record_access.signing_worker(account),
                employer=employer,
                worker=worker,
                document=form.scan,
                drawn=form.keep_drawing(now),
                recorded_at=now,
                recorded_by=account,
                **form.given(),
            )
            messages.success(request, _("The assessment is recorded."))
            return redirect("assessments")
    shown = {"form": form, "worker": worker, "employer": employer}
    return render(request, "records/assess.html", shown, status=status_of(form))


def _assessment_form(request: HttpRequest, form_class: type[Any], account: Account, now: datetime, **given: Any) -> Any:
    """The form of an assessment with as many lines as were shown; more lines leave it unchecked."""
    if request.method != "POST":
        return form_class(account=account, **given)
    lines = {"task_lines": number_in(request.POST.get("lines"), 6)}
    form = form_class(request.POST, request.FILES, account=account, **given, **lines)
    form.keep_scan(now)
    if "more" in request.POST:
        more = form_class(account=account, **given, task_lines=lines["task_lines"] + MORE_LINES)
        more.initial = as_typed(form.data, more)
        more.scan = form.scan
        return more
    return form


# Records about one person


@page
@require_GET
def person(request: HttpRequest, *, account: Account, worker_id: int) -> HttpResponse:
    worker = get_object_or_404(access.visible_workers(account), pk=worker_id)
    shown = {
        "page": page_of(worker, account, request.GET.get("page")),
        "additions": {slug: title for slug, (title, _form, _service) in ADDITIONS.items()},
        "own": account.worker_id == worker.pk,
        "may_add": account.kind == "employer",
    }
    return render(request, "records/person.html", shown)


@page
@require_http_methods(["GET", "POST"])
def add_record(request: HttpRequest, *, account: Account, worker_id: int, what: str) -> HttpResponse:
    worker = record_access.worker_to_record_about(account, worker_id, what)
    title, form_class, service = ADDITIONS.get(what, (None, None, None))
    if form_class is None or service is None:
        return render(request, "registry/problem.html", {"message": _("There is no such record.")}, status=404)
    now = timezone.now()
    given: dict[str, Any] = {"worker": worker, "employer": account.employer}
    if form_class is ThirdPartyAssessmentForm:
        sent = request.method == "POST" and "more" not in request.POST
        given["too_often"] = sent and not within_limit(request, "name_assessor")
        form = _assessment_form(request, form_class, account, now, **given)
    elif issubclass(form_class, ScanForm):
        form = form_class(posted(request), _files(request), account=account, **given)
        form.keep_scan(now)
    else:
        form = form_class(posted(request), **given)
    if form.is_valid():
        with refused_beside_fields(form):
            attached = {"document": form.scan} if isinstance(form, ScanForm) else {}
            recorded = service(worker=worker, recorded_at=now, recorded_by=account, **form.given(), **attached)
            messages.success(request, _("Recorded: %(what)s.") % {"what": title})
            if isinstance(recorded, StoodDown):
                _say_what_is_held(request, recorded)
            return redirect("bars_of" if account.kind == "registrar" else "person_records", worker_id=worker.pk)
    shown = {"form": form, "worker": worker, "title": title, "what": what}
    template = "records/third_party.html" if form_class is ThirdPartyAssessmentForm else "records/add.html"
    return render(request, template, shown, status=429 if given.get("too_often") else status_of(form))


def _say_what_is_held(request: HttpRequest, stood_down: StoodDown) -> None:
    if stood_down.record.employer_id is None:
        messages.info(request, _("It bars everywhere. The person and the registrar can read it now."))
    else:
        messages.info(request, _("It bars at your firm alone. The person and the registrar can read it now."))
    if not stood_down.held:
        messages.info(request, _("No coming position on your crews was put on hold by it."))
    for each in stood_down.held:
        sentence = _("Put on hold: %(role)s, %(job)s, from %(start)s.")
        start = instant(each.during.lower, ZoneInfo(each.job.site.time_zone))
        messages.warning(request, sentence % {"role": in_words_of(each.slot.role), "job": each.job, "start": start})


@page
@require_http_methods(["GET", "POST"])
def new_person(request: HttpRequest, *, account: Account) -> HttpResponse:
    employer = record_access.recording_employer(account)
    now, do = timezone.now(), request.POST.get("do", "new")
    sent = posted(request)
    forms = {
        "new": NewPersonForm(sent if do == "new" else None),
        "ask": AskPersonForm(sent if do == "ask" else None),
        "code": PersonsCodeForm(sent if do == "code" else None),
    }
    form, (question, act) = forms.get(do, forms["new"]), _TAKING_ON.get(do, _TAKING_ON["new"])
    shown: dict[str, Any] = {"forms": forms, "asked": consent.asked_by(employer, at=now, most=MOST_ASKED)}
    if asked_too_often(request, form, question):
        return render(request, "records/new_person.html", shown, status=429)
    apart = _told_apart(request, employer, form) if isinstance(form, NewPersonForm) else None
    if apart is not None and apart.is_valid() and (known := apart.chosen):
        messages.info(request, _("%(person)s is registered already; nobody was added.") % {"person": known})
        # Who left the books and comes back is asked, as everybody is who is registered.
        if access.visible_workers(account).filter(pk=known.pk).exists():
            return redirect("person_records", worker_id=known.pk)
        return redirect("workers")
    if form.is_valid() and (apart is None or apart.is_valid()):
        distinct = {} if apart is None else {"distinct_from": list(apart.alike)}
        with refused_beside_fields(form):
            worker = act(employer=employer, recorded_at=now, recorded_by=account, **distinct, **form.cleaned_data)
            if worker is not None:
                return redirect("person_records", worker_id=worker.pk)
            sentence = _(
                "If a person in the register fits, they have been asked: they find it on their own page and answer"
                " there. You see them among your people once they agree."
            )
            messages.success(request, sentence)
            return redirect("new_person")
    status = 422 if apart is not None and apart.is_bound else status_of(form)
    return render(request, "records/new_person.html", shown | {"apart": apart}, status=status)


_TAKING_ON: dict[str, tuple[str, Callable[..., Worker | None]]] = {
    "new": ("register_person", people.take_on),
    "ask": ("ask_person", consent.ask),
    "code": ("type_code", lambda **given: consent.redeem(**given).worker),
}
"""What is counted before it is looked at, and the service."""


def _told_apart(request: HttpRequest, employer: Employer, form: NewPersonForm) -> TellApartForm | None:
    """The question which of the people on the books it is, where some look the same; answered if they were shown."""
    if not form.is_valid():
        return None
    given = form.cleaned_data
    candidate = Candidate(given["given_name"], given["family_name"], given["date_of_birth"])
    alike = shown_to_employer(find_lookalikes([candidate]).get(0, []), employer)
    if not alike:
        return None
    return TellApartForm(request.POST if "shown" in request.POST else None, alike=alike)


# Corrections


@page
@require_http_methods(["GET", "POST"])
def correct_record(request: HttpRequest, *, account: Account, kind: str, record_id: int) -> HttpResponse:
    now = timezone.now()
    record = record_access.record_to_correct(account, kind, record_id, at=now)
    asked = _asked(request, account)
    names_assessor = isinstance(record, Assessment) and bool(record.third_party)
    too_often = request.method == "POST" and names_assessor and not within_limit(request, "name_assessor")
    form = correction_form(posted(request), _files(request), record=record, account=account, too_often=too_often)
    reason = ReasonForm(posted(request))
    if isinstance(form, ScanForm):
        form.keep_scan(now)
    if form.is_valid() & reason.is_valid():
        with refused_beside_fields(form):
            changes = form.changes()
            if isinstance(form, ScanForm) and form.scan is not None:
                changes["document"] = form.scan
            corrections.correct_with_reason(
                record=record,
                changes=changes,
                reason=reason.cleaned_data["because"],
                request=asked,
                employer=corrections.employer_answerable_for(record, on=now),
                recorded_at=now,
                recorded_by=account,
            )
            messages.success(request, _("The correction is recorded; the old record stays, marked as corrected."))
            return _after_correction(account, record)
    shown = {"form": form, "reason": reason, "record": record, "words": in_words(record), "asked": asked, "kind": kind}
    status = 422 if form.is_bound and (form.errors or reason.errors) else 200
    return render(request, "records/correct.html", shown, status=status)


@page
@require_http_methods(["GET", "POST"])
def withdraw_record(request: HttpRequest, *, account: Account, kind: str, record_id: int) -> HttpResponse:
    now = timezone.now()
    record = record_access.record_to_correct(account, kind, record_id, at=now)
    asked = _asked(request, account)
    form = ReasonForm(posted(request))
    if form.is_valid():
        with refused_beside_fields(form):
            corrections.withdraw_with_reason(
                record=record,
                reason=form.cleaned_data["because"],
                request=asked,
                employer=corrections.employer_answerable_for(record, on=now),
                recorded_at=now,
                recorded_by=account,
            )
            messages.success(request, _("The withdrawal is recorded."))
            return _after_correction(account, record)
    shown = {"form": form, "record": record, "words": in_words(record), "asked": asked, "kind": kind}
    return render(request, "records/withdraw.html", shown, status=status_of(form))


@page
@require_http_methods(["GET", "POST"])
def ask_for_correction(request: HttpRequest, *, account: Account, kind: str, record_id: int) -> HttpResponse:
    record = record_access.record_to_ask_about(account, kind, record_id)
    registrars = corrections.only_the_registrar_corrects(record)
    form = CorrectionRequestForm(posted(request))
    if form.is_valid():
        with refused_beside_fields(form):
            corrections.request_correction(
                record=record, recorded_at=timezone.now(), recorded_by=account, **form.cleaned_data
            )
            sent = (
                _("Your request is with the registrar.")
                if registrars
                else _("Your request is with the employer whose record it is.")
            )
            messages.success(request, sent)
            return redirect("person_records", worker_id=record.worker_id)
    shown = {"form": form, "words": in_words(record), "record": record, "registrars": registrars}
    return render(request, "records/ask.html", shown, status=status_of(form))


@page
@require_GET
def correction_requests(request: HttpRequest, *, account: Account) -> HttpResponse:
    employer = record_access.recording_employer(account)
    waiting = Paginator(corrections.open_requests(employer), 50).get_page(request.GET.get("page"))
    return render(request, "records/requests.html", {"page": waiting})


@page
@require_http_methods(["GET", "POST"])
def answer_request(request: HttpRequest, *, account: Account, request_id: int) -> HttpResponse:
    asked = record_access.request_to_answer(account, request_id)
    record = corrections.record_asked_about(asked)
    latest = corrections.latest_version(record)
    form = ReasonForm(posted(request))
    if form.is_valid():
        with refused_beside_fields(form):
            corrections.decline_correction(
                request=asked,
                reason=form.cleaned_data["because"],
                recorded_at=timezone.now(),
                recorded_by=account,
            )
            messages.success(request, _("Declined; the person who asked can read why."))
            return redirect(WAITING_FOR.get(account.kind, "assessments"))
    shown = {
        "asked": asked,
        "words": in_words(record),
        "latest": latest,
        "kind": asked.record_kind,
        "changed_since": latest.pk != record.pk,
        "assessors": corrections.only_the_assessor_corrects(record) and account.worker_id is None,
        "form": form,
    }
    return render(request, "records/answer.html", shown, status=status_of(form))


def _asked(request: HttpRequest, account: Account) -> Any:
    """The request that a correction answers, if it answers one."""
    number = number_in(request.POST.get("request") or request.GET.get("request"), 0)
    return record_access.request_to_answer(account, number) if number else None


def _after_correction(account: Account, record: Any) -> HttpResponse:
    if account.kind == "registrar":
        return redirect("bars_of", worker_id=record.worker_id)
    if account.kind != "employer":
        return redirect("assessments")
    if not access.visible_workers(account).filter(pk=record.worker_id).exists():
        # The record was the employment by which the person was the employer's own.
        return redirect("workers")
    return redirect("person_records", worker_id=record.worker_id)


# Import


@page
@require_http_methods(["GET", "POST"])
def import_upload(request: HttpRequest, *, account: Account) -> HttpResponse:
    record_access.recording_employer(account)
    form = TableForm(posted(request), _files(request), kinds=_importable(), account=account)
    if form.is_bound and not within_limit(request, "table"):
        return _too_many_tables(request)
    if form.is_valid():
        kept = form.keep(timezone.now())
        if kept is not None:
            return redirect("import_table", kind=form.cleaned_data["kind"], document_id=kept.pk)
    return render(request, "records/import.html", {"form": form}, status=status_of(form))


@page
@require_http_methods(["GET", "POST"])
def import_table(request: HttpRequest, *, account: Account, kind: str, document_id: int) -> HttpResponse:
    """The columns of a table, and what it would bring in: that is weighed only when a form asks for it."""
    employer = record_access.recording_employer(account)
    table = record_access.uploaded_table(account, document_id)
    if kind not in _importable():
        return render(request, "registry/problem.html", {"message": _("There is no such record.")}, status=404)
    if request.method == "POST" and not _may_look(request, kind):
        return _too_many_tables(request)
    reading = _reading(request, kind, table)
    shown: dict[str, Any] = {"kind": kind, "table": table, "employer": employer, "refused": "", "report": None}
    header: Row | None = None
    try:
        if request.method == "POST":
            with turn(owner_of(account)):
                header = reading.read().first_row()
                form = _mapping(request, kind, header)
                if form.is_valid():
                    shown["report"] = _brought_in(request, kind, table, reading, form, account)
        elif known := reading.known():
            header = known.first_row()
    except (FileRefused, Stopped) as error:
        shown["refused"] = error.message
    form = _mapping(request, kind, header)
    form.is_valid()
    shown |= {"form": form, "headings": form.headings}
    return render(request, "records/import_table.html", shown, status=status_of(form))


def _brought_in(
    request: HttpRequest, kind: str, table: Document, reading: TableReading, form: MappingForm, account: Account
) -> ImportReport:
    report = bring_in_table(
        kind,
        reading.table,
        employer=record_access.recording_employer(account),
        recorded_at=timezone.now(),
        recorded_by=account,
        options=form.options(),
        dry_run=request.POST.get("do") != "import",
        name=table.name,
        preview=PREVIEWED,
    )
    if report.written:
        reading.forget()
    return report


def _mapping(request: HttpRequest, kind: str, header: Row | None) -> MappingForm:
    options = ImportOptions(signatures=False)
    headings = [] if header is None else headings_of(kind, header, options=options)
    return MappingForm(posted(request), headings=headings, fields=KINDS[kind].fields_read(options))


def _reading(request: HttpRequest, kind: str, table: Document) -> TableReading:
    """How the table is read, before its fields are known; the form refuses an encoding not on its list."""
    chosen = request.POST.get("encoding", "")
    return TableReading(
        lambda: bytes(table.content),
        table.sha256,
        sheet=request.POST.get("sheet") or None,
        encoding=chosen if chosen and chosen in dict(ENCODINGS) else None,
        most_rows=KINDS[kind].most_rows,
    )


def _may_look(request: HttpRequest, kind: str) -> bool:
    """Counts a look, and an import of people more narrowly: that asks for each whether they are registered."""
    people_asked_about = kind == "workers" and request.POST.get("do") == "import"
    return within_limit(request, "table") and (not people_asked_about or within_limit(request, "import_people"))


def _too_many_tables(request: HttpRequest) -> HttpResponse:
    sentence = _("Too many tables were looked through from here. Try again in an hour.")
    return render(request, "registry/problem.html", {"message": sentence}, status=429)


def _importable() -> dict[str, Any]:
    """The kinds that need nobody else's signature."""
    return {name: kind for name, kind in KINDS.items() if not kind.needs_signatures()}


# Documents


@page
@require_GET
def document(request: HttpRequest, *, account: Account, document_id: int) -> HttpResponse:
    found: Document = get_object_or_404(record_access.visible_documents(account), pk=document_id)
    return download(bytes(found.content), found.name, found.media_type)


def _files(request: HttpRequest) -> MultiValueDict[str, Any] | None:
    return request.FILES if request.method == "POST" else None
