"""Pages about the log: fetch, call one service, render."""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from registry import ledger
from registry.inspection.records import may_make_checkpoint, require_may_make_checkpoint, visible_record
from registry.inspection.services import require_inspector
from registry.ledger import here
from registry.ledger.kinds import title_of
from registry.ledger.models import Checkpoint
from registry.ledger.queries import (
    ConsistencyProof,
    NotInTheLog,
    checkpoint_of,
    consistency_proof,
    latest_checkpoint,
    recorded_keys,
    size_of_the_log,
)
from registry.ledger.records import logged_record, with_opening
from registry.ledger.tree import ProofRefused, verify_consistency
from registry.ledger.words import WHAT, counted, name_of
from registry.people.models import Account
from registry.web.log.drawing import growth, ladder
from registry.web.log.forms import GrowthForm
from registry.web.views import page, status_of

VERIFIER = Path(ledger.__file__).parent / "standalone" / "verify_registry.py"
WITHIN_A_REQUEST = 50_000
"""So many leaves are verified while somebody waits for the page; more take the command."""

MOST_FINDINGS = 200


@page
@require_GET
def log(request: HttpRequest, *, account: Account) -> HttpResponse:
    newest = latest_checkpoint()
    asked = "earlier" in request.GET or "later" in request.GET
    form = GrowthForm(request.GET) if asked else GrowthForm(initial=_first_and_newest(newest))
    shown = {
        "newest": newest,
        "keys": recorded_keys(),
        "page": Paginator(Checkpoint.objects.order_by("-size"), 20).get_page(request.GET.get("page")),
        "form": form,
        "grown": _grown(form),
        "may_make": may_make_checkpoint(account),
    }
    return render(request, "log/log.html", shown, status=status_of(form))


@page
@require_POST
def make_checkpoint(request: HttpRequest, *, account: Account) -> HttpResponse:
    require_may_make_checkpoint(account)
    before = latest_checkpoint()
    made = here.sign(at=timezone.now())
    if before is not None and before.size == made.size:
        messages.info(request, _("Nothing was recorded since the newest checkpoint, so it stays the newest."))
    else:
        messages.success(request, _("Checkpoint of %(size)s leaves made.") % {"size": made.size})
    return redirect("log")


@page
@require_GET
def checkpoint_text(request: HttpRequest, *, account: Account, size: int) -> HttpResponse:
    try:
        note = checkpoint_of(size).note
    except NotInTheLog as error:
        raise Http404(str(error)) from error
    return HttpResponse(note, content_type="text/plain; charset=utf-8", headers=_as_file("checkpoint.txt"))


@page
@require_GET
def consistency_json(request: HttpRequest, *, account: Account) -> HttpResponse:
    form = GrowthForm(request.GET)
    if not form.is_valid():
        raise Http404(_("There are no two such checkpoints."))
    proof = consistency_proof(form.cleaned_data["earlier"], form.cleaned_data["later"])
    return _json_file(proof.as_json(), f"consistency-{proof.earlier.size}-{proof.later.size}.json")


@page
@require_GET
def verifier(request: HttpRequest, *, account: Account) -> HttpResponse:
    return HttpResponse(VERIFIER.read_bytes(), content_type="text/x-python", headers=_as_file(VERIFIER.name))


@page
@require_GET
def log_record(request: HttpRequest, *, account: Account, kind: str, record: int) -> HttpResponse:
    if not visible_record(account, kind, record):
        raise Http404(_("There is no such record that you may see."))
    try:
        found = logged_record(kind, record)
        if found.proof is not None and request.GET.get("as") == "json":
            return _json_file(with_opening(found.proof), f"{kind}-{record}.json")
    except NotInTheLog as error:
        raise Http404(str(error)) from error
    shown = {
        "found": found,
        "title": title_of(kind),
        "leaf": json.dumps(json.loads(found.leaf), indent=2, ensure_ascii=False),
        "ladder": None if found.proof is None else ladder(found.proof),
    }
    return render(request, "log/record.html", shown)


@page
@require_http_methods(["GET", "POST"])
def verification(request: HttpRequest, *, account: Account) -> HttpResponse:
    require_inspector(account)
    size = size_of_the_log()
    if size > WITHIN_A_REQUEST:
        return render(request, "log/verification.html", {"size": size, "limit": WITHIN_A_REQUEST})
    started = time.monotonic()
    report = here.check(resume=request.method != "POST")
    found = report.findings
    shown = {
        "size": size,
        "report": report,
        "seconds": time.monotonic() - started,
        "findings": [
            {"name": name_of(each), "became": WHAT[each.what], "finding": each} for each in found[:MOST_FINDINGS]
        ],
        "more": max(0, len(found) - MOST_FINDINGS),
        "counted": counted(found),
    }
    return render(request, "log/verification.html", shown)


def _first_and_newest(newest: Checkpoint | None) -> dict[str, int]:
    first = Checkpoint.objects.filter(size__gt=0).order_by("size").values_list("size", flat=True).first()
    return {} if first is None or newest is None else {"earlier": first, "later": newest.size}


def _grown(form: GrowthForm) -> dict[str, Any] | None:
    """The proof that was asked for, checked and drawn."""
    if not form.is_bound or not form.is_valid():
        return None
    proof = consistency_proof(form.cleaned_data["earlier"], form.cleaned_data["later"])
    return {"proof": proof, "holds": _holds(proof), "drawing": growth(proof)}


def _holds(proof: ConsistencyProof) -> bool:
    roots = bytes(proof.earlier.root), bytes(proof.later.root)
    try:
        verify_consistency(proof.earlier.size, proof.later.size, *roots, proof.path)
    except ProofRefused:
        return False
    return True


def _json_file(content: dict[str, Any], name: str) -> HttpResponse:
    options = {"indent": 2, "ensure_ascii": False}
    return JsonResponse(content, json_dumps_params=options, headers=_as_file(name))


def _as_file(name: str) -> dict[str, str]:
    return {"Content-Disposition": f'attachment; filename="{name}"'}
