"""Who is behind an account: what was signed in one's name, and whom somebody from outside the firm has seen."""

from __future__ import annotations

from typing import Any

from allauth.account.signals import password_changed, password_reset, password_set
from allauth.mfa.models import Authenticator
from allauth.mfa.signals import authenticator_added, authenticator_removed
from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_GET, require_http_methods

from registry.crews import access
from registry.evidence import in_your_name as acts
from registry.language.refusals import SENTENCES
from registry.people import identity
from registry.people.account_events import record_event
from registry.people.models import Account
from registry.people.second_factor import SECOND_FACTORS
from registry.web.forms import refused_beside_fields
from registry.web.views import page, posted, status_of

SHOWN = 50


class IdentityForm(forms.Form):
    """What somebody looked at when they saw the person."""

    looked_at = forms.CharField(
        label=_("What you looked at"),
        max_length=200,
        help_text=_("Such as: driving licence, photo compared. Write down no number and keep no copy."),
        error_messages={"required": SENTENCES["an_identity_check_says_what_was_looked_at"][1]},
    )


class DenialForm(forms.Form):
    """What is wrong with a signature in one's name."""

    reason = forms.CharField(
        label=_("What is wrong"),
        max_length=500,
        help_text=_("Such as: I was not on that site, and did not sign this."),
        error_messages={"required": SENTENCES["a_denied_signature_gives_its_reason"][1]},
        widget=forms.Textarea(attrs={"rows": 3}),
    )


@page
@require_GET
def in_your_name(request: HttpRequest, *, account: Account) -> HttpResponse:
    found = Paginator(acts.InYourName(account), SHOWN).get_page(request.GET.get("page"))
    return render(request, "account/in_your_name.html", {"page": found, "acts": list(found)})


@page
@require_http_methods(["GET", "POST"])
def deny_signature(request: HttpRequest, *, account: Account, kind: str, record_id: int) -> HttpResponse:
    record = acts.signed_record(account, kind, record_id)
    if record is None:
        raise Http404
    form = DenialForm(posted(request))
    if form.is_valid():
        with refused_beside_fields(form):
            acts.deny_signature(
                kind=kind,
                record_id=record_id,
                reason=form.cleaned_data["reason"],
                denied_at=timezone.now(),
                denied_by=account,
            )
            messages.success(request, gettext("Recorded: this signature is not yours. The inspector sees it."))
            return redirect("in_your_name")
    shown = {"form": form, "kind": kind, "record": record}
    return render(request, "account/deny.html", shown, status=status_of(form))


@page
@require_GET
def identities(request: HttpRequest, *, account: Account) -> HttpResponse:
    _require_checker(account)
    found = Paginator(identity.unchecked_invitations(), SHOWN).get_page(request.GET.get("page"))
    denied = acts.denied_signatures()
    shown = {"page": found, "denied": denied[:SHOWN], "denied_count": denied.count()}
    return render(request, "account/identities.html", shown)


@page
@require_http_methods(["GET", "POST"])
def check_identity(request: HttpRequest, *, account: Account, account_id: int) -> HttpResponse:
    _require_checker(account)
    invitation = get_object_or_404(identity.unchecked_invitations(), account=account_id)
    form = IdentityForm(posted(request))
    if form.is_valid() and invitation.account is not None:
        with refused_beside_fields(form):
            identity.check_identity(
                account=invitation.account,
                looked_at=form.cleaned_data["looked_at"],
                checked_at=timezone.now(),
                checked_by=account,
            )
            messages.success(request, gettext("Recorded: you saw this person."))
            return redirect("identities")
    shown = {"form": form, "invitation": invitation}
    return render(request, "account/check_identity.html", shown, status=status_of(form))


def _require_checker(account: Account) -> None:
    if account.kind not in identity.CHECKERS:
        raise access.NotAllowed(str(SENTENCES["an_identity_is_checked_from_outside"][1]))


# What django-allauth does to an account is recorded and told like everything else.


def _record_second_factor(what: str) -> Any:
    def receiver(*, request: HttpRequest, user: Account, authenticator: Authenticator, **more: Any) -> None:
        if authenticator.type in SECOND_FACTORS:
            record_event(account=user, what=what, at=timezone.now(), by=user)

    return receiver


def _record_password(*, request: HttpRequest, user: Account, **more: Any) -> None:
    by = user if request.user.is_authenticated and request.user.pk == user.pk else None
    record_event(account=user, what="password_changed", at=timezone.now(), by=by)


_second_factor_added = _record_second_factor("second_factor_added")
_second_factor_removed = _record_second_factor("second_factor_removed")
authenticator_added.connect(_second_factor_added)
authenticator_removed.connect(_second_factor_removed)
for each in (password_changed, password_reset, password_set):
    each.connect(_record_password)
