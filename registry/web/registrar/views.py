"""The registrar's pages: what keeps people off the crews, who asks to end it, and what ended it on paper."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from registry.crews import record_access
from registry.evidence import corrections
from registry.people.models import Account
from registry.web.forms import people_named
from registry.web.records import record_page
from registry.web.views import page

SHOWN = 50


@page
@require_GET
def bars(request: HttpRequest, *, account: Account) -> HttpResponse:
    people = record_access.people_of_the_register(account)
    shown = {
        "people": people_named(request, people),
        "waiting": corrections.waiting_for_the_registrar().count(),
        "papers": corrections.ended_on_paper().count(),
    }
    return render(request, "registrar/bars.html", shown)


@page
@require_GET
def requests_waiting(request: HttpRequest, *, account: Account) -> HttpResponse:
    record_access.people_of_the_register(account)
    waiting = Paginator(corrections.waiting_for_the_registrar(), SHOWN).get_page(request.GET.get("page"))
    return render(request, "registrar/requests.html", {"page": waiting})


@page
@require_GET
def ended_on_paper(request: HttpRequest, *, account: Account) -> HttpResponse:
    record_access.people_of_the_register(account)
    found = Paginator(corrections.ended_on_paper(), SHOWN).get_page(request.GET.get("page"))
    shown = {"page": found, "passes": [(each, record_page.in_words(each)) for each in found]}
    return render(request, "registrar/papers.html", shown)


@page
@require_GET
def bars_of(request: HttpRequest, *, account: Account, worker_id: int) -> HttpResponse:
    worker = record_access.person_of_the_register(account, worker_id)
    shown = {"worker": worker, "bars": record_page.bars_of(worker, account)}
    return render(request, "registrar/person.html", shown)
