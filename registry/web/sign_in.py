"""How django-allauth signs people in here: by invitation only, with secrets kept sealed and waits told in minutes."""

from __future__ import annotations

import base64
from typing import Any, cast

from allauth.account.adapter import DefaultAccountAdapter
from allauth.account.forms import (
    ChangePasswordForm,
    LoginForm,
    ResetPasswordForm,
    ResetPasswordKeyForm,
    SetPasswordForm,
)
from allauth.account.forms import ReauthenticateForm as ReauthenticateByPasswordForm
from allauth.account.signals import password_reset
from allauth.core import context
from allauth.mfa.adapter import DefaultMFAAdapter
from allauth.mfa.adapter import get_adapter as get_mfa_adapter
from allauth.mfa.base.forms import AuthenticateForm, ReauthenticateForm
from allauth.mfa.models import Authenticator
from allauth.mfa.signals import authentication_failed
from allauth.mfa.totp.forms import ActivateTOTPForm
from allauth.mfa.webauthn.forms import (
    AddWebAuthnForm,
    AuthenticateWebAuthnForm,
    EditWebAuthnForm,
    LoginWebAuthnForm,
    ReauthenticateWebAuthnForm,
)
from cryptography.fernet import Fernet, MultiFernet
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django import forms
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.people.models import Account
from registry.web.attempts import account_named, code_attempt, password_attempt
from registry.web.event_log import about, events
from registry.web.known_devices import mark_of_device, remember_device

LABELS = {
    "oldpassword": gettext_lazy("Current password"),
    "password1": gettext_lazy("New password"),
    "password2": gettext_lazy("New password again"),
    "code": gettext_lazy("Code"),
}
WAYS_TO_CONFIRM = {
    "reauthenticate": gettext_lazy("Use the password"),
    "mfa_reauthenticate": gettext_lazy("Use a code"),
    "mfa_reauthenticate:webauthn": gettext_lazy("Use a passkey"),
}


class AccountAdapter(DefaultAccountAdapter):
    """Accounts come from invitations; a lock-out says when it ends."""

    error_messages = {
        **DefaultAccountAdapter.error_messages,
        "username_password_mismatch": gettext_lazy("The username or the password is wrong."),
    }

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False

    def get_reauthentication_methods(self, user: Any) -> list[dict[str, Any]]:
        ways = super().get_reauthentication_methods(user)
        return [{**each, "description": WAYS_TO_CONFIRM[each["id"]]} for each in ways]

    def pre_authenticate(self, request: HttpRequest, **credentials: Any) -> None:
        """Count the try as a failed one; allauth takes it back when the password was right."""
        self._login_failed_rl_usage = password_attempt(request, credentials["username"])

    def authentication_failed(self, request: HttpRequest, **credentials: Any) -> None:
        log_failure(request, account_named(credentials["username"]), by="password")

    def post_login(self, request: HttpRequest, user: Any, **how: Any) -> HttpResponse:
        remember_device(request, user)
        return cast(HttpResponse, super().post_login(request, user, **how))


class SecondFactorAdapter(DefaultMFAAdapter):
    """The secrets of authenticator apps and recovery codes are encrypted under the installation's key."""

    error_messages = {
        **DefaultMFAAdapter.error_messages,
        "incorrect_code": gettext_lazy("This code is wrong or has been used. Wait for the next one."),
    }

    def encrypt(self, text: str) -> str:
        return _seal().encrypt(text.encode()).decode()

    def decrypt(self, encrypted_text: str) -> str:
        return _seal().decrypt(encrypted_text.encode()).decode()

    def get_totp_label(self, user: Any) -> str:
        return str(user.get_username())

    def generate_authenticator_name(self, user: Any, type: Authenticator.Type) -> str:
        number = Authenticator.objects.filter(user=user, type=type).count() + 1
        return _("Passkey {number}").format(number=number)

    def get_public_key_credential_user_entity(self, user: Any) -> dict[str, Any]:
        return {**super().get_public_key_credential_user_entity(user), "name": user.get_username()}


class _OurForm:
    """Our words for the fields; a label stands above each, so that a pale copy inside would say nothing more."""

    fields: dict[str, forms.Field]

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        for name, field in self.fields.items():
            field.widget.attrs.pop("placeholder", None)
            field.label = LABELS.get(name, field.label)


class SignInForm(_OurForm, LoginForm):
    """User name and password."""


class PasswordAgainForm(_OurForm, ReauthenticateByPasswordForm):
    """Confirming by the password that it is still the same person."""


class NewPasswordForm(_OurForm, ChangePasswordForm):
    """The password in use and the one to come; guesses at the one in use count as those of confirming."""

    user: Account

    def clean_oldpassword(self) -> str:
        attempt = password_attempt(context.request, self.user.username)
        try:
            password = str(super().clean_oldpassword())
        except forms.ValidationError:
            log_failure(context.request, self.user, by="password")
            raise
        attempt.rollback()
        return password


class FirstPasswordForm(_OurForm, SetPasswordForm):
    """A password for an account that has none."""


class ForgottenPasswordForm(_OurForm, ResetPasswordForm):
    """Where the link for a new password is to go."""


class PasswordByLinkForm(_OurForm, ResetPasswordKeyForm):
    """The password that replaces a forgotten one."""


class AppForm(_OurForm, ActivateTOTPForm):
    """The first code of an authenticator app."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["code"].help_text = _("The six digits that the app shows now.")


class _CodeForm(_OurForm):
    """A code from the authenticator app, or a recovery code."""

    user: Account

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["code"].help_text = _("The six digits in your authenticator app, or one of your recovery codes.")

    def clean_code(self) -> str:
        attempt = code_attempt(context.request, self.user)
        code = str(super().clean_code())  # type: ignore[misc]
        attempt.rollback()
        return code


class CodeForm(_CodeForm, AuthenticateForm):
    """The second step of signing in."""


class CodeAgainForm(_CodeForm, ReauthenticateForm):
    """Confirming by a code that it is still the same person."""


class _PasskeyUsed:
    """What a browser sends for a passkey. What no browser sends is a wrong passkey and no failure of ours."""

    user: Account | None

    def clean_credential(self) -> Authenticator:
        try:
            return cast(Authenticator, super().clean_credential())  # type: ignore[misc]
        except (AttributeError, KeyError, TypeError, ValueError, forms.ValidationError) as error:
            log_failure(context.request, self.user, by="webauthn")
            raise get_mfa_adapter().validation_error("incorrect_code") from error


class PasskeyStepForm(_PasskeyUsed, AuthenticateWebAuthnForm):
    """The second step of signing in."""


class PasskeyAgainForm(_PasskeyUsed, ReauthenticateWebAuthnForm):
    """Confirming by a passkey that it is still the same person."""


class PasskeySignInForm(_PasskeyUsed, LoginWebAuthnForm):
    """Signing in by a passkey alone."""


class PasskeyForm(AddWebAuthnForm):
    """A new passkey; the credential itself comes from the browser."""

    def clean(self) -> dict[str, Any]:
        try:
            return dict(super().clean())
        except (AttributeError, KeyError, TypeError, ValueError) as error:
            raise get_mfa_adapter().validation_error("incorrect_code") from error

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["name"].label = _("Name of the passkey")
        self.fields["passwordless"].label = _("Sign in by this passkey alone")
        self.fields["passwordless"].help_text = _(
            "The device then asks for a fingerprint, a face or its PIN, and the registry for no password."
        )
        self.fields["passwordless"].initial = True


class PasskeyNameForm(EditWebAuthnForm):
    """Another name for a passkey."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["name"].label = _("Name of the passkey")


def log_failure(request: HttpRequest, account: Account | None, *, by: str) -> None:
    """A failed sign-in, or a failed confirmation by somebody signed in."""
    known = mark_of_device(request, account) is not None
    events.warning(
        "sign_in_failed",
        **(about(request) | {"account": account.pk if account else None}),
        by=by,
        confirming=request.user.is_authenticated,
        known_device=known,
    )


def _code_failed(*, request: HttpRequest, user: Account, authenticator: Authenticator, **more: Any) -> None:
    log_failure(request, user, by=str(authenticator.type))


def _password_was_reset(*, request: HttpRequest, user: Account, **more: Any) -> None:
    """Whoever opened the link reads the account's mail: that device is its owner's, as if they had signed in on it."""
    events.info("password_reset", **(about(request) | {"account": user.pk}))
    remember_device(request, user)


authentication_failed.connect(_code_failed)
password_reset.connect(_password_was_reset)


def _seal() -> MultiFernet:
    """Encrypts under ``SECRET_KEY``; ``SECRET_KEY_FALLBACKS`` still open what they closed."""
    return MultiFernet([_key(str(each)) for each in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS)])


def _key(secret: str) -> Fernet:
    derived = HKDF(algorithm=SHA256(), length=32, salt=None, info=b"second factor").derive(secret.encode())
    return Fernet(base64.urlsafe_b64encode(derived))
