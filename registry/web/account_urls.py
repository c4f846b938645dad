"""Sign-in and account pages: django-allauth's views under addresses and in pages of our own.

There is no page for signing up: people are invited.
"""

from allauth.account import views as account
from allauth.mfa.recovery_codes import views as recovery_codes
from allauth.mfa.totp import views as totp
from allauth.mfa.webauthn import views as webauthn
from allauth.usersessions import views as usersessions
from django.urls import path, re_path

from registry.web.account import (
    AccountPage,
    ConfirmByCode,
    ForgottenPassword,
    SecondStep,
    SignIn,
    SignOut,
    accept_invitation,
    change_address,
    choose_language,
    close_account,
    dispatchers,
    follow_invitation,
    invite,
    type_code,
)
from registry.web.identity import check_identity, deny_signature, identities, in_your_name

# Where two names lead to one page, ours comes first and allauth asks for the other.
urlpatterns = [
    path("sign-in/", SignIn.as_view(), name="sign_in"),
    path("sign-in/", SignIn.as_view(), name="account_login"),
    path("sign-in/second-step/", SecondStep.as_view(), name="mfa_authenticate"),
    path("sign-in/passkey/", webauthn.login_webauthn, name="mfa_login_webauthn"),
    path("sign-in/inactive/", account.account_inactive, name="account_inactive"),
    path("sign-out/", SignOut.as_view(), name="sign_out"),
    path("sign-out/", SignOut.as_view(), name="account_logout"),
    path("account/", AccountPage.as_view(), name="account"),
    path("account/", AccountPage.as_view(), name="mfa_index"),
    path("account/confirm/", account.reauthenticate, name="account_reauthenticate"),
    path("account/confirm/code/", ConfirmByCode.as_view(), name="mfa_reauthenticate"),
    path("account/confirm/passkey/", webauthn.reauthenticate_webauthn, name="mfa_reauthenticate_webauthn"),
    path("account/password/", account.password_change, name="account_change_password"),
    path("account/password/set/", account.password_set, name="account_set_password"),
    path("account/password/forgotten/", ForgottenPassword.as_view(), name="account_reset_password"),
    path("account/password/forgotten/sent/", account.password_reset_done, name="account_reset_password_done"),
    re_path(
        r"^account/password/new/(?P<uidb36>[0-9A-Za-z]+)-(?P<key>.+)/$",
        account.password_reset_from_key,
        name="account_reset_password_from_key",
    ),
    path(
        "account/password/new/done/",
        account.password_reset_from_key_done,
        name="account_reset_password_from_key_done",
    ),
    path("account/authenticator-app/", totp.activate_totp, name="mfa_activate_totp"),
    path("account/authenticator-app/remove/", totp.deactivate_totp, name="mfa_deactivate_totp"),
    path("account/recovery-codes/", recovery_codes.view_recovery_codes, name="mfa_view_recovery_codes"),
    path("account/recovery-codes/new/", recovery_codes.generate_recovery_codes, name="mfa_generate_recovery_codes"),
    path(
        "account/recovery-codes/download/",
        recovery_codes.download_recovery_codes,
        name="mfa_download_recovery_codes",
    ),
    path("account/passkeys/", webauthn.list_webauthn, name="mfa_list_webauthn"),
    path("account/passkeys/add/", webauthn.add_webauthn, name="mfa_add_webauthn"),
    path("account/passkeys/<int:pk>/remove/", webauthn.remove_webauthn, name="mfa_remove_webauthn"),
    path("account/passkeys/<int:pk>/name/", webauthn.edit_webauthn, name="mfa_edit_webauthn"),
    path("account/sessions/", usersessions.list_usersessions, name="usersessions_list"),
    path("account/invitations/", invite, name="invite"),
    path("account/dispatchers/", dispatchers, name="dispatchers"),
    path("account/dispatchers/<int:account_id>/close/", close_account, name="close_account"),
    path("account/address/", change_address, name="change_address"),
    path("account/in-your-name/", in_your_name, name="in_your_name"),
    path("account/in-your-name/<str:kind>/<int:record_id>/", deny_signature, name="deny_signature"),
    path("account/identities/", identities, name="identities"),
    path("account/identities/<int:account_id>/", check_identity, name="check_identity"),
    path("invitations/", type_code, name="type_code"),
    path("invitations/accept/", accept_invitation, name="accept_invitation"),
    path("invitations/<str:token>/", follow_invitation, name="follow_invitation"),
    path("language/", choose_language, name="set_language"),
]
