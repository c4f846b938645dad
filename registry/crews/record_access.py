"""Who may record about whom, and who may look at what is attached.

An employer records about its own people, a worker asks about their own
records and signs as themself, an assessor assesses the people of the employers
that appointed them. The registrar ends what should not keep somebody off the
crews, and records what an employer's word alone does not show.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils.translation import gettext as _

from registry.crews.access import NotAllowed, own_worker, readable, visible_workers
from registry.database.errors import RecordRefused
from registry.evidence import corrections
from registry.evidence.assessing import employers_assessed_for
from registry.evidence.corrections import employer_answerable_for, employers_correct, require_may_correct
from registry.evidence.kinds import RECORDS, WITH_DOCUMENT
from registry.evidence.models import (
    Assessment,
    AssessmentSignature,
    CorrectionRequest,
    Document,
    EntryObjection,
)
from registry.evidence.uploads import TABLES
from registry.people.models import Account, Employer, Employment, Worker
from registry.people.registrars import is_registrar


def recording_employer(account: Account) -> Employer:
    """The employer the account records for. Raises :class:`NotAllowed`."""
    if account.kind != "employer" or account.employer is None:
        raise NotAllowed(_("Only an employer records this."))
    return account.employer


def own_workers(account: Account) -> QuerySet[Worker]:
    """The employer's own people, by name. Raises :class:`NotAllowed`."""
    recording_employer(account)
    return visible_workers(account).order_by("family_name", "given_name", "id")


def require_own_worker(account: Account, worker_id: int) -> Worker:
    """The employer's own worker. Raises :class:`NotAllowed`, whether or not there is such a person."""
    worker = own_workers(account).filter(pk=worker_id).first()
    if worker is None:
        raise NotAllowed(_("This person is not on the employer's books."))
    return worker


REGISTRAR_RECORDS = ("certificate-status", "third-party-assessment")
"""What a registrar adds to a record: that a certificate is reinstated, and a pass that ends another body's setback."""


def worker_to_record_about(account: Account, worker_id: int, what: str) -> Worker:
    """The person about whom the account adds ``what``: an employer's own, anybody for the registrar's few.

    Raises :class:`NotAllowed`.
    """
    if is_registrar(account) and what in REGISTRAR_RECORDS:
        return person_of_the_register(account, worker_id)
    return require_own_worker(account, worker_id)


def person_of_the_register(account: Account, worker_id: int) -> Worker:
    """Anybody registered, for the registrar. Raises :class:`NotAllowed`."""
    worker = people_of_the_register(account).filter(pk=worker_id).first()
    if worker is None:
        raise NotAllowed(_("There is no such person."))
    return worker


def people_of_the_register(account: Account) -> QuerySet[Worker]:
    """Everybody registered, by name, for the registrar. Raises :class:`NotAllowed`."""
    if not is_registrar(account):
        raise NotAllowed(_("This is the registrar's."))
    return Worker.objects.order_by("family_name", "given_name", "id")


def signing_worker(account: Account) -> Worker:
    """The worker who signs with this account. Raises :class:`NotAllowed`."""
    return own_worker(account, otherwise=_("Only a worker signs, and only as themself."))


def assessable_workers(account: Account, *, at: datetime) -> QuerySet[Worker]:
    """The people whom the signed-in assessor may assess: those of the employers that appointed them, not oneself."""
    assessor = signing_worker(account)
    employed = Employment.objects.current().filter(
        Q(end__isnull=True) | Q(end__gte=at.date()), employer__in=employers_assessed_for(assessor, at=at)
    )
    people = Worker.objects.filter(pk__in=employed.values("worker")).exclude(pk=assessor.pk)
    return people.order_by("family_name", "given_name", "id")


def employer_assessed_for(account: Account, worker: Worker, *, at: datetime) -> Employer | None:
    """For which employer the signed-in assessor assesses the worker: one that has both now, the first by name."""
    employed = Employment.objects.current().filter(Q(end__isnull=True) | Q(end__gte=at.date()), worker=worker)
    return employers_assessed_for(signing_worker(account), at=at).filter(pk__in=employed.values("employer")).first()


def record_to_ask_about(account: Account, kind: str, record_id: int) -> Any:
    """A record of the signed-in worker, or one of an employer's people that the registrar alone corrects.

    Raises :class:`NotAllowed`.
    """
    record = _find(kind, record_id)
    if account.kind == "employer":
        # One refusal for what is not the employer's to read and for what is not there.
        if record is None or not corrections.only_the_registrar_corrects(record) or not _reads(account, record):
            raise NotAllowed(_("An employer corrects its records itself."))
        require_own_worker(account, record.worker_id)
        return record
    worker = signing_worker(account)
    if record is None or record.worker_id != worker.pk:
        raise NotAllowed(_("This is not your record."))
    return record


def record_to_correct(account: Account, kind: str, record_id: int, *, at: datetime) -> Any:
    """A record that the account may correct or withdraw. Raises :class:`NotAllowed`.

    An employer corrects the records it answers for; an employer's own
    assessment is its assessor's to correct, and what keeps somebody off the
    crews the registrar's.
    """
    record = _find(kind, record_id)
    if record is not None and is_registrar(account) and corrections.the_registrar_corrects(record):
        return record
    if record is not None and not employers_correct(record):
        try:
            require_may_correct(record, account, at=at)
        except RecordRefused as refused:
            raise NotAllowed(str(refused)) from refused
        return record
    if record is not None and is_registrar(account) and employer_answerable_for(record, on=at) is None:
        return record
    employer = recording_employer(account)
    answerable = None if record is None else employer_answerable_for(record, on=at)
    if answerable is None or answerable.pk != employer.pk:
        raise NotAllowed(_("Another employer answers for this record."))
    return record


def request_to_answer(account: Account, request_id: int) -> CorrectionRequest:
    """A request that waits for the account's employer or the registrar, or is about an assessment the account gave."""
    request = CorrectionRequest.objects.filter(pk=request_id, answer__isnull=True).select_related("worker").first()
    if request is not None and corrections.waiting_for_the_registrar().filter(pk=request.pk).exists():
        if is_registrar(account):
            return request
        raise NotAllowed(_("The registrar answers this request."))
    if request is not None and account.kind == "employer" and request.employer_id == account.employer_id:
        return request
    if request is not None and account.worker is not None:
        about_own = corrections.open_requests_about_assessments_by(account.worker).filter(pk=request.pk)
        if about_own.exists():
            return request
    raise NotAllowed(_("This request does not wait for your answer."))


def objection_to_answer(account: Account, objection_id: int) -> EntryObjection:
    """An objection to an entry of the account's employer."""
    employer = recording_employer(account)
    found = EntryObjection.objects.filter(pk=objection_id, answer__isnull=True, entry__employer=employer)
    objection = found.select_related("by", "entry__worker", "entry__site", "entry__model__maker").first()
    if objection is None:
        raise NotAllowed(_("This question does not wait for your answer."))
    return objection


def visible_documents(account: Account) -> QuerySet[Document]:
    """Documents attached to records that the account reads, and those it handed in itself."""
    seen = Q(recorded_by=account)
    for holder in WITH_DOCUMENT:
        seen |= Q(Exists(readable(account, holder._default_manager.filter(document=OuterRef("pk")))))
    assessments = readable(account, Assessment.objects.all())
    drawn = AssessmentSignature.objects.filter(image=OuterRef("pk"), assessment__in=assessments)
    return Document.objects.filter(seen | Q(Exists(drawn)))


def uploaded_table(account: Account, document_id: int) -> Document:
    """A table that this account uploaded to import. Raises :class:`NotAllowed`."""
    recording_employer(account)
    own = Document.objects.defer("content").filter(recorded_by=account, media_type__in=TABLES)
    found = own.filter(pk=document_id).first()
    if found is None:
        raise NotAllowed(_("There is no such upload of yours."))
    return found


def _reads(account: Account, record: Any) -> bool:
    return readable(account, type(record)._default_manager.filter(pk=record.pk)).exists()


def _find(kind: str, record_id: int) -> Any:
    model = RECORDS.get(kind)
    if model is None:
        return None
    return model.objects.select_related("worker", "recorded_by__employer").filter(pk=record_id).first()
