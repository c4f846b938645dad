"""Signing in, one's own account, and invitations to one."""

from __future__ import annotations

from typing import Any, cast

from allauth.account.decorators import reauthentication_required
from allauth.account.internal.flows.login import perform_password_login
from allauth.account.internal.flows.reauthentication import reauthenticate_by_password
from allauth.account.models import Login
from allauth.account.views import LoginView, LogoutView, PasswordResetView
from allauth.core.internal import ratelimit
from allauth.mfa.base.views import AuthenticateView, IndexView, ReauthenticateView
from allauth.usersessions.models import UserSession
from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth.password_validation import password_validators_help_text_html, validate_password
from django.contrib.auth.validators import UnicodeUsernameValidator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import get_language, gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods
from django.views.i18n import set_language

from registry.crews import access
from registry.database.errors import RecordRefused
from registry.database.identity import demonstrating
from registry.demo import scenario
from registry.language.refusals import SENTENCES
from registry.people import addresses, closing, invitations
from registry.people.identity import CHECKERS
from registry.people.models import Account, Employer, Invitation, Worker
from registry.people.telling import mail_is_sent
from registry.web.attempts import link_may_be_mailed, links_are_flooded, sign_in_is_flooded
from registry.web.event_log import about, events
from registry.web.forms import refused_beside_fields
from registry.web.limits import within_limit
from registry.web.pictures import qr_picture
from registry.web.security import note_way_back
from registry.web.unchecked import mark_accounts
from registry.web.views import page, posted, status_of

MOST_INVITATIONS = 20
INVITATION = "invitation"
"""The session's note of the invitation somebody follows: the hash of its token, never the token."""

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
        return super().get_context_data(demo_accounts=scenario.ACCOUNTS if demonstrating() else (), **given)


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
        note_way_back(self.request, self.request.GET.get("back"))
        return super().get_context_data(
            standing=access.second_factor_of(account, at=timezone.now()),
            sessions=UserSession.objects.filter(user=account).count(),
            **given,
        )


class InvitationForm(forms.Form):
    """Whom a dispatcher invites, and where the mail goes."""

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
    address = forms.EmailField(
        label=_("The person's own e-mail address"),
        max_length=254,
        help_text=_("The link goes there and nowhere else. An address that somebody else uses here is refused."),
        widget=forms.EmailInput(attrs={"autocomplete": "off"}),
    )
    language = forms.ChoiceField(
        label=_("Language of the mail"), choices=settings.LANGUAGES, widget=forms.RadioSelect, required=False
    )

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if given.get("kind") != "worker":
            given["worker"] = None
        elif not given.get("worker"):
            self.add_error("worker", _("Give the number of the worker."))
        else:
            given["worker"] = _numbered(given["worker"])
            if given["worker"] is None:
                # The same answer as for somebody on another employer's books.
                self.add_error("worker", SENTENCES["dispatchers_invite_their_own"][1])
        return given


class CodeForWorkerForm(forms.Form):
    """The worker whom an inspector or the registrar hands a code to."""

    worker = forms.CharField(
        label=_("Number of the worker"),
        max_length=20,
        help_text=_("As it stands on the worker's record, such as W-000012."),
    )
    employer: Any = None

    def clean_worker(self) -> Worker | None:
        found = _numbered(self.cleaned_data["worker"])
        if found is None:
            raise forms.ValidationError(_("There is no worker of this number."))
        return found


class CodeForm(CodeForWorkerForm):
    """Whom the registrar hands a code to: a worker, or a dispatcher of an employer."""

    kind = forms.ChoiceField(
        label=_("An account for"),
        choices=[("worker", _("a worker")), ("employer", _("a dispatcher"))],
        widget=forms.RadioSelect,
        initial="worker",
    )
    worker = forms.CharField(
        label=_("Number of the worker"),
        required=False,
        max_length=20,
        help_text=_("As it stands on the worker's record, such as W-000012."),
    )
    employer = forms.ModelChoiceField(
        label=_("Employer of the dispatcher"), queryset=Employer.objects.order_by("name"), required=False
    )
    field_order = ("kind", "worker", "employer")

    def clean_worker(self) -> Worker | None:
        return super().clean_worker() if self.cleaned_data.get("worker") else None

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        wanted, other = ("worker", "employer") if given.get("kind") == "worker" else ("employer", "worker")
        given[other] = None
        if not given.get(wanted) and wanted not in self.errors:
            missing = {"worker": _("Give the number of the worker."), "employer": _("Choose the employer.")}
            self.add_error(wanted, missing[wanted])
        return given


class TypedCodeForm(forms.Form):
    """A code as it stands on paper."""

    code = forms.CharField(
        label=_("Code on the paper"),
        max_length=60,
        help_text=_("Six groups of four letters and digits. Dashes and small letters do not matter."),
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}),
    )


class AddressForm(forms.Form):
    """Where mail about one's account goes."""

    email = forms.EmailField(
        label=_("New e-mail address"),
        max_length=Account._meta.get_field("email").max_length,
        widget=forms.EmailInput(attrs={"autocomplete": "email"}),
    )


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
        help_text=_("There you hear of what is signed in your name, and set a new password if you forget this one."),
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

    def __init__(self, *args: Any, mailed: bool, **options: Any) -> None:
        super().__init__(*args, **options)
        if mailed:
            # Mail goes where the invitation went: that address has just been shown to be theirs.
            del self.fields["email"]

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
    """By mail for a dispatcher, who never sees the link; as a code on paper for the registrar and inspectors."""
    return _invite_by_mail(request, account) if account.kind == "employer" else _print_code(request, account)


def _invite_by_mail(request: HttpRequest, account: Account) -> HttpResponse:
    employer = access.employer_of(account)
    form = InvitationForm(posted(request), initial={"language": get_language()})
    if request.method == "POST" and not within_limit(request, "invitation"):
        # Each answer tells a little of who is here, so that all of them are counted.
        form.add_error(None, _("Too many invitations: try again in an hour."))
        return render(request, "account/invite.html", _invitations(account, form, employer), status=429)
    if form.is_valid():
        with refused_beside_fields(form):
            given = form.cleaned_data
            invitations.invite_by_mail(
                kind=given["kind"],
                employer=employer if given["kind"] == "employer" else None,
                worker=given["worker"],
                address=given["address"],
                language=given["language"],
                link_to=lambda token: request.build_absolute_uri(reverse("follow_invitation", args=[token])),
                invited_by=account,
                invited_at=timezone.now(),
            )
            messages.success(request, gettext("The invitation is on its way to the person, by mail."))
            return redirect("invite")
    return render(request, "account/invite.html", _invitations(account, form, employer), status=status_of(form))


def _invitations(account: Account, form: forms.Form, employer: Employer | None) -> dict[str, Any]:
    sent = invitations.invitations_of(account, most=MOST_INVITATIONS)
    return {
        "form": form,
        "sent": sent,
        "most": MOST_INVITATIONS,
        "now": timezone.now(),
        "employer": employer,
        "mails": mail_is_sent(),
    }


def _print_code(request: HttpRequest, account: Account) -> HttpResponse:
    if account.kind not in CHECKERS:
        raise access.NotAllowed(str(SENTENCES["workers_invite_nobody"][1]))
    form = (CodeForm if account.kind == "registrar" else CodeForWorkerForm)(posted(request))
    shown: dict[str, Any] = {}
    if form.is_valid():
        with refused_beside_fields(form):
            given = form.cleaned_data
            made = invitations.invite(
                kind=given.get("kind", "worker"),
                employer=given.get("employer"),
                worker=given["worker"],
                invited_by=account,
                invited_at=timezone.now(),
            )
            address = request.build_absolute_uri(reverse("follow_invitation", args=[made.token]))
            shown = {
                "code": invitations.in_groups(made.token),
                "for_whom": _for_whom(made.invitation),
                "until": made.invitation.expires_at,
                "type_it_at": request.build_absolute_uri(reverse("type_code")),
                "picture": qr_picture(address),
            }
            form = type(form)()
    shown |= _invitations(account, form, None)
    return render(request, "account/print_code.html", shown, status=status_of(form))


@page
@require_http_methods(["GET", "POST"])
@reauthentication_required
def change_address(request: HttpRequest, *, account: Account) -> HttpResponse:
    """Only the account's holder, who has just confirmed that it is them, changes where its mail goes."""
    form = AddressForm(posted(request))
    if form.is_valid():
        with refused_beside_fields(form):
            addresses.change_address(account=account, address=form.cleaned_data["email"], changed_at=timezone.now())
            messages.success(request, gettext("The e-mail address is changed."))
            return redirect("account")
    return render(request, "account/address.html", {"form": form}, status=status_of(form))


@page
@require_GET
def dispatchers(request: HttpRequest, *, account: Account) -> HttpResponse:
    employer = access.employer_of(account)
    accounts = list(closing.dispatchers_of(employer))
    mark_accounts(accounts)
    shown = {
        "employer": employer,
        "accounts": accounts,
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
@require_GET
def follow_invitation(request: HttpRequest, token: str) -> HttpResponse:
    """Take the token out of the address before anything else is loaded from the page or logged about it.

    The session keeps its hash, as the database does.
    """
    if not within_limit(request, "wrong_invitation", dry_run=True):
        return cast(HttpResponse, ratelimit.respond_429(request))
    refused = _note_invitation(request, token)
    if refused is None:
        return redirect("accept_invitation")
    return render(request, "account/invitation_closed.html", {"message": refused}, status=410)


@never_cache
@sensitive_post_parameters("code")
@require_http_methods(["GET", "POST"])
def type_code(request: HttpRequest) -> HttpResponse:
    """Where a code on paper is typed."""
    form = TypedCodeForm(posted(request))
    if form.is_valid():
        if not within_limit(request, "wrong_invitation", dry_run=True):
            return cast(HttpResponse, ratelimit.respond_429(request))
        refused = _note_invitation(request, form.cleaned_data["code"])
        if refused is None:
            return redirect("accept_invitation")
        form.add_error("code", refused)
    return render(request, "account/type_code.html", {"form": form}, status=status_of(form))


def _note_invitation(request: HttpRequest, token: str) -> str | None:
    """Remember the open invitation of this token in the session, by its hash; else why it opens nothing."""
    token_hash = invitations.hash_of(token)
    try:
        invitations.open_invitation(token_hash=token_hash, at=timezone.now())
    except RecordRefused as refused:
        within_limit(request, "wrong_invitation")
        return str(refused)
    request.session[INVITATION] = token_hash
    return None


@never_cache
@sensitive_post_parameters("password", "password_again")
@require_http_methods(["GET", "POST"])
def accept_invitation(request: HttpRequest) -> HttpResponse:
    if request.user.is_authenticated:
        return render(request, "account/sign_out_first.html")
    token_hash = request.session.get(INVITATION, "")
    try:
        invitation = invitations.open_invitation(token_hash=token_hash, at=timezone.now())
    except RecordRefused as refused:
        return render(request, "account/invitation_closed.html", {"message": str(refused)}, status=410)
    form = AcceptForm(posted(request), mailed=invitation.way == "mail")
    if form.is_valid():
        with refused_beside_fields(form):
            account = _accepted(token_hash, form)
            del request.session[INVITATION]
            return _enter(request, account, form.cleaned_data["password"])
    shown = {"form": form, "invitation": invitation, "for_whom": _for_whom(invitation)}
    return render(request, "account/accept.html", shown, status=status_of(form))


def choose_language(request: HttpRequest) -> HttpResponse:
    """Read pages in another language, and from then on get one's mail in it."""
    response = set_language(request)
    chosen = request.POST.get("language", "")
    if request.user.is_authenticated and chosen in dict(settings.LANGUAGES):
        Account.objects.filter(pk=request.user.pk).update(language=chosen)
    return response


def too_many_requests(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """All limits but those on failed attempts are by the minute."""
    events.warning("too_many_requests", **about(request))
    return render(request, "429.html", status=429)


def _accepted(token_hash: str, form: AcceptForm) -> Account:
    given = form.cleaned_data
    return invitations.accept(
        token_hash=token_hash,
        username=given["username"],
        password=given["password"],
        email=given.get("email", ""),
        language=get_language() or "",
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


def _numbered(typed: str) -> Worker | None:
    return Worker.objects.filter(number=typed.strip().upper()).first()


def _for_whom(invitation: Invitation) -> str:
    return str(invitation.worker or invitation.employer or "")


def _demo_code(user: Any) -> str | None:
    return scenario.code_of(user) if demonstrating() else None
