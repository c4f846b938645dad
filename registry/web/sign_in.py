"""How django-allauth signs people in here: by invitation only, with secrets kept sealed and waits told in minutes."""

from __future__ import annotations

import base64
import math
import time
from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from allauth.account.forms import (
    ChangePasswordForm,
    LoginForm,
    ResetPasswordForm,
    ResetPasswordKeyForm,
    SetPasswordForm,
)
from allauth.account.forms import ReauthenticateForm as ReauthenticateByPasswordForm
from allauth.core import context
from allauth.core.internal import ratelimit
from allauth.mfa.adapter import DefaultMFAAdapter
from allauth.mfa.base.forms import AuthenticateForm, ReauthenticateForm
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.forms import ActivateTOTPForm
from allauth.mfa.webauthn.forms import AddWebAuthnForm, EditWebAuthnForm
from cryptography.fernet import Fernet, MultiFernet
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django import forms
from django.conf import settings
from django.core.cache import cache
from django.core.exceptions import ValidationError
from django.http import HttpRequest
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from registry.people.models import Account

LOCKED_OUT = "too_many_login_attempts"
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
FAILED = {"app": "allauth.account", "action": "login_failed"}


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
        try:
            super().pre_authenticate(request, **credentials)
        except ValidationError as error:
            raise _with_the_wait(error, self._get_login_attempts_cache_key(request, **credentials)) from error


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
    """The password in use and the one to come."""


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
        try:
            return str(super().clean_code())  # type: ignore[misc]
        except ValidationError as error:
            raise _with_the_wait(error, f"mfa-auth-user-{self.user.pk}") from error


class CodeForm(_CodeForm, AuthenticateForm):
    """The second step of signing in."""


class CodeAgainForm(_CodeForm, ReauthenticateForm):
    """Confirming by a code that it is still the same person."""


class PasskeyForm(AddWebAuthnForm):
    """A new passkey; the credential itself comes from the browser."""

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


def _with_the_wait(error: ValidationError, key: str) -> ValidationError:
    """The same error, or for a lock-out how long it lasts."""
    if error.code != LOCKED_OUT:
        return error
    minutes = _minutes_until_free(context.request, key)
    sentence = ngettext(
        "Too many failed attempts. Try again in one minute.",
        "Too many failed attempts. Try again in %(minutes)s minutes.",
        minutes,
    )
    return ValidationError(sentence % {"minutes": minutes}, code=LOCKED_OUT)


def _minutes_until_free(request: HttpRequest, key: str) -> int:
    """Whole minutes until every limit on failed attempts allows another."""
    free = [time.time()]
    for rate in ratelimit.get_rates(**FAILED):
        attempts = cache.get(ratelimit.get_cache_key(request, **FAILED, rate=rate, key=key), [])
        if len(attempts) >= rate.amount:
            free.append(attempts[rate.amount - 1] + rate.duration)
    return max(1, math.ceil((max(free) - time.time()) / 60))


def _seal() -> MultiFernet:
    """Encrypts under ``SECRET_KEY``; ``SECRET_KEY_FALLBACKS`` still open what they closed."""
    return MultiFernet([_key(str(each)) for each in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS)])


def _key(secret: str) -> Fernet:
    derived = HKDF(algorithm=SHA256(), length=32, salt=None, info=b"second factor").derive(secret.encode())
    return Fernet(base64.urlsafe_b64encode(derived))
