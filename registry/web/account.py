"""Signing in, one's own account, and invitations to one."""

from __future__ import annotations

from typing import Any, cast

from allauth.account.internal.flows.login import perform_password_login
from allauth.account.internal.flows.reauthentication import reauthenticate_by_password
from allauth.account.models import Login
from allauth.account.views import LoginView, LogoutView, PasswordResetView
from allauth.mfa.base.views import AuthenticateView, IndexView, ReauthenticateView
from allauth.usersessions.models import UserSession
from django import forms
from django.contrib import messages
from django.contrib.auth.password_validation import password_validators_help_text_html, validate_password
from django.contrib.auth.validators import UnicodeUsernameValidator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods

from registry.crews import access
from registry.database.errors import SENTENCES, RecordRefused
from registry.database.identity import demonstrating
from registry.people import closing, invitations
from registry.people.models import Account, Invitation, Worker
from registry.web import demo
from registry.web.attempts import link_may_be_mailed, links_are_flooded, sign_in_is_flooded
from registry.web.event_log import about, events
from registry.web.forms import refused_beside_fields
from registry.web.views import page, posted, status_of

MOST_INVITATIONS = 20
MOST_CLOSED = 20


class SignIn(LoginView):
    """The first step; while the demonstration runs its accounts stand on the page."""

    def post(self, request: HttpRequest, *args: Any, **given: Any) -> HttpResponse:
        if sign_in_is_flooded(request, request.POST.get("login", "")):
            return too_many_requests(request)
        return cast(HttpResponse, super().post(request, *args, **given))

    def form_invalid(self, form: Any) -> HttpResponse:
        return self.render_to_response(self.get_context_data(form=form), status=422)

    def get_context_data(self, **given: Any) -> dict[str, Any]:
        return super().get_context_data(demo_accounts=demo.ACCOUNTS if demonstrating() else (), **given)


class SecondStep(AuthenticateView):
    """The second step; while the demonstration runs its accounts' codes stand on the page."""

    def form_invalid(self, form: Any) -> HttpResponse:
        return self.render_to_response(self.get_context_data(), status=422)

    def get_context_data(self, **given: Any) -> dict[str, Any]:
        return {**super().get_context_data(**given), "demo_code": _demo_code(self.stage.login.user)}


class ConfirmByCode(ReauthenticateView):
    """Confirming by a code that it is still the same person."""

    def get_context_data(self, **given: Any) -> dict[str, Any]:
        return super().get_context_data(demo_code=_demo_code(self.request.user), **given)


class ForgottenPassword(PasswordResetView):
    """Asking for a link to a new password; the answer is the same whether one is mailed or not."""

    def form_valid(self, form: Any) -> HttpResponse:
        if links_are_flooded(self.request):
            return too_many_requests(self.request)
        if link_may_be_mailed(self.request, form.cleaned_data["email"]):
            return cast(HttpResponse, super().form_valid(form))
        return redirect(self.get_success_url())


class SignOut(LogoutView):
    """Leaves at once, and only when asked by a form."""

    http_method_names = ["post"]


class AccountPage(IndexView):
    """How one signs in: second factor, recovery codes, passkeys, sessions, password."""

    template_name = "account/account.html"

    def get_context_data(self, **given: Any) -> dict[str, Any]:
        account = cast(Account, self.request.user)
        return super().get_context_data(
            standing=access.second_factor_of(account, at=timezone.now()),
            sessions=UserSession.objects.filter(user=account).count(),
            **given,
        )


class InvitationForm(forms.Form):
    """Whom a dispatcher invites."""

    kind = forms.ChoiceField(
        label=_("An account for"),
        choices=[("worker", _("a worker")), ("employer", _("a dispatcher of your employer"))],
        widget=forms.RadioSelect,
        initial="worker",
    )
    worker = forms.CharField(
        label=_("Number of the worker"),
        required=False,
        max_length=20,
        help_text=_("As it stands on the worker's record, such as W-000012."),
    )

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if given.get("kind") != "worker":
            given["worker"] = None
        elif not given.get("worker"):
            self.add_error("worker", _("Give the number of the worker."))
        else:
            number = given["worker"].strip().upper()
            given["worker"] = Worker.objects.filter(number=number).first()
            if given["worker"] is None:
                self.add_error("worker", _("There is no worker of this number."))
        return given


class ClosingForm(forms.Form):
    """Why an account is closed."""

    reason = forms.CharField(
        label=_("Reason"),
        max_length=500,
        help_text=_("Such as: has left the firm. It stays on record and in the log."),
        error_messages={"required": SENTENCES["closing_an_account_gives_its_reason"][1]},
        widget=forms.Textarea(attrs={"rows": 3}),
    )


class AcceptForm(forms.Form):
    """The user name and password of a new account."""

    username = forms.CharField(
        label=_("Username"),
        max_length=150,
        validators=[UnicodeUsernameValidator()],
        help_text=_("Letters, digits and @ . + - _ only."),
        widget=forms.TextInput(attrs={"autocomplete": "username", "autocapitalize": "none"}),
    )
    email = forms.EmailField(
        label=_("Email"),
        required=False,
        max_length=Account._meta.get_field("email").max_length,
        help_text=_("For setting a new password should you forget this one."),
        widget=forms.EmailInput(attrs={"autocomplete": "email"}),
    )
    password = forms.CharField(
        label=_("Password"),
        strip=False,
        help_text=password_validators_help_text_html,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )
    password_again = forms.CharField(
        label=_("Password again"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        password = given.get("password")
        if password:
            try:
                validate_password(password, Account(username=given.get("username", ""), email=given.get("email", "")))
            except forms.ValidationError as error:
                self.add_error("password", error)
            if given.get("password_again") not in (None, password):
                self.add_error("password_again", _("This is not the same password."))
        return given


@page
@require_http_methods(["GET", "POST"])
def invite(request: HttpRequest, *, account: Account) -> HttpResponse:
    employer = access.employer_of(account)
    link = None
    form = InvitationForm(posted(request))
    if form.is_valid():
        with refused_beside_fields(form):
            made = invitations.invite(
                kind=form.cleaned_data["kind"],
                employer=employer if form.cleaned_data["kind"] == "employer" else None,
                worker=form.cleaned_data["worker"],
                invited_by=account,
                invited_at=timezone.now(),
            )
            link = request.build_absolute_uri(reverse("accept_invitation", kwargs={"token": made.token}))
    sent = invitations.invitations_of(account, most=MOST_INVITATIONS)
    shown = {"form": form, "link": link, "sent": sent, "now": timezone.now(), "employer": employer}
    return render(request, "account/invite.html", shown, status=status_of(form))


@page
@require_GET
def dispatchers(request: HttpRequest, *, account: Account) -> HttpResponse:
    employer = access.employer_of(account)
    shown = {
        "employer": employer,
        "accounts": closing.dispatchers_of(employer),
        "closed": closing.closings_at(employer)[:MOST_CLOSED],
    }
    return render(request, "account/dispatchers.html", shown)


@page
@require_http_methods(["GET", "POST"])
def close_account(request: HttpRequest, *, account: Account, account_id: int) -> HttpResponse:
    leaving = access.account_to_close(account, account_id)
    form = ClosingForm(posted(request))
    if form.is_valid():
        with refused_beside_fields(form):
            closing.close_account(
                account=leaving, closed_at=timezone.now(), closed_by=account, reason=form.cleaned_data["reason"]
            )
            messages.success(request, gettext("The account %(name)s is closed.") % {"name": leaving.username})
            return redirect("dispatchers")
    return render(request, "account/close.html", {"leaving": leaving, "form": form}, status=status_of(form))


@never_cache
@sensitive_post_parameters("password", "password_again")
@require_http_methods(["GET", "POST"])
def accept_invitation(request: HttpRequest, token: str) -> HttpResponse:
    if request.user.is_authenticated:
        return render(request, "account/sign_out_first.html")
    try:
        invitation = invitations.open_invitation(token=token, at=timezone.now())
    except RecordRefused as refused:
        return render(request, "account/invitation_closed.html", {"message": str(refused)}, status=410)
    form = AcceptForm(posted(request))
    if form.is_valid():
        with refused_beside_fields(form):
            return _enter(request, _accepted(token, form), form.cleaned_data["password"])
    shown = {"form": form, "invitation": invitation, "for_whom": _for_whom(invitation)}
    return render(request, "account/accept.html", shown, status=status_of(form))


def too_many_requests(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """All limits but those on failed attempts are by the minute."""
    events.warning("too_many_requests", **about(request))
    return render(request, "429.html", status=429)


def _accepted(token: str, form: AcceptForm) -> Account:
    given = form.cleaned_data
    return invitations.accept(
        token=token,
        username=given["username"],
        password=given["password"],
        email=given["email"],
        accepted_at=timezone.now(),
    )


def _enter(request: HttpRequest, account: Account, password: str) -> HttpResponse:
    """Sign the new account in, straight on to its second factor where that is compulsory."""
    compulsory = access.second_factor_of(account, at=timezone.now()).compulsory
    login = Login(user=account, redirect_url=reverse("account" if compulsory else "home"))
    response = perform_password_login(request, {"username": account.username, "password": password}, login)
    # Whoever has just chosen the password is not asked for it again.
    reauthenticate_by_password(request)
    return cast(HttpResponse, response)


def _for_whom(invitation: Invitation) -> str:
    return str(invitation.worker or invitation.employer or "")


def _demo_code(user: Any) -> str | None:
    return demo.code_of(user) if demonstrating() else None
