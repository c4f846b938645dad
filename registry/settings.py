"""Settings; everything that differs between installations comes from the environment."""

from pathlib import Path

import environ
from django.core.exceptions import ImproperlyConfigured
from django.utils.translation import gettext_lazy as _

from registry.database import data_folder, roles, server

# Before a key or secret is asked for, which would otherwise be made: every command and every server passes here.
server.require_whole_folder()

env = environ.Env()
PROJECT = Path(__file__).resolve().parent.parent
STANDARDS = PROJECT / "fixtures" / "standards"
NOTICES = PROJECT / "fixtures" / "notices"

LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
SECRET_KEY = env.str("SECRET_KEY", default="") or data_folder.secret("django")
# Keys that were in use before: what they sealed is still opened, and nothing is sealed with them.
SECRET_KEY_FALLBACKS = env.list("SECRET_KEY_FALLBACKS", default=[])
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", default=list(LOOPBACK))
CSRF_TRUSTED_ORIGINS = env.list("CSRF_TRUSTED_ORIGINS", default=[])

# Plain http is for `demo`, `runserver` and `test`, which are reached from this machine alone. Whoever is asked for by
# another name is served by https, with all that browsers then keep to; no other setting turns any of it off.
PLAIN_HTTP = env.bool("REGISTRY_PLAIN_HTTP_ON_LOOPBACK", default=False)
if PLAIN_HTTP and not set(ALLOWED_HOSTS) <= set(LOOPBACK):
    raise ImproperlyConfigured(
        "REGISTRY_PLAIN_HTTP_ON_LOOPBACK serves this machine alone: leave ALLOWED_HOSTS out, or serve by https."
    )
DEBUG = env.bool("REGISTRY_DEBUG", default=False)
if DEBUG and not PLAIN_HTTP:
    raise ImproperlyConfigured(
        "REGISTRY_DEBUG shows settings and records to every visitor: it needs REGISTRY_PLAIN_HTTP_ON_LOOPBACK=1."
    )
SECURE = not PLAIN_HTTP
# A browser takes a cookie of this prefix only by https and only for this very host.
COOKIE_PREFIX = "__Host-" if SECURE else ""
SESSION_COOKIE_NAME = f"{COOKIE_PREFIX}sessionid"
SESSION_COOKIE_SECURE = SECURE
CSRF_COOKIE_NAME = f"{COOKIE_PREFIX}csrftoken"
CSRF_COOKIE_SECURE = SECURE
CSRF_COOKIE_HTTPONLY = True
SECURE_HSTS_SECONDS = 31_536_000 if SECURE else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE
SECURE_SSL_REDIRECT = SECURE
# Probes ask over http inside a machine or network; programs are refused rather than led on (`web/security.py`).
SECURE_REDIRECT_EXEMPT = [r"^health/(live|ready)$", r"^api/"]
# Asking browsers' makers to preload a domain is for whoever owns the domain, with all that it serves.
SILENCED_SYSTEM_CHECKS = ["security.W021"]
if env.bool("BEHIND_PROXY", default=False):
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    # Failed attempts are counted for the address that the proxy answers, not for the proxy, which is everybody's.
    ALLAUTH_TRUSTED_PROXY_COUNT = 1
# What one household or office is commonly given; counted by smaller pieces, one client would be many.
ALLAUTH_RATE_LIMIT_IPV6_PREFIX = 56
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
# A working day on a site; afterwards everybody signs in again, however busy (`web/session_end.py`).
SESSION_COOKIE_AGE = 12 * 60 * 60
# A desk that was left, or a phone that was lost. NIST SP 800-63B-4, section 2.2.3, asks for an hour at most at this
# level of assurance; less would cut off somebody who enters the hours of a crew from paper.
SESSION_IDLE_SECONDS = 60 * 60
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_SAMESITE = "Lax"
CSRF_FAILURE_VIEW = "registry.web.views.form_is_of_another_session"
# Messages name people: they stay with the session, and no cookie holds them.
MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"
LANGUAGE_COOKIE_NAME = f"{COOKIE_PREFIX}language"
LANGUAGE_COOKIE_HTTPONLY = True
LANGUAGE_COOKIE_SAMESITE = "Lax"
LANGUAGE_COOKIE_SECURE = SECURE
# Chosen once, a language stays on that device; whoever chooses nothing is read in the browser's.
LANGUAGE_COOKIE_AGE = 365 * 24 * 60 * 60
# Accounts that once signed in on a device (`web/known_devices.py`); browsers keep no cookie longer than this.
KNOWN_DEVICE_COOKIE_NAME = f"{COOKIE_PREFIX}known-device"
KNOWN_DEVICE_COOKIE_AGE = 400 * 24 * 60 * 60

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.postgres",
    "rest_framework",
    "drf_spectacular",
    "django_filters",
    "django_htmx",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "allauth.usersessions",
    "registry.database",
    "registry.ledger",
    "registry.people",
    "registry.equipment",
    "registry.evidence",
    "registry.standards",
    "registry.crews",
    "registry.transcripts",
    "registry.retention",
    "registry.notices",
    "registry.inspection",
    "registry.demo",
    "registry.web",
    "registry.workshop",
    "api",
]

MIDDLEWARE = [
    "registry.web.event_log.in_one_request",
    "registry.web.security.headers_of_every_answer",
    "registry.web.security.nothing_is_stored",
    "django.middleware.security.SecurityMiddleware",
    "registry.web.security.known_methods_only",
    "registry.web.security.interface_by_https_alone",
    "registry.web.health.answered_first",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "registry.web.known_devices.remembered",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "registry.web.session_end.idle_sessions_end",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "registry.web.security.SecondFactorMiddleware",
    "registry.web.looks.traced",
    "registry.web.reading.read_as_the_account",
]

ROOT_URLCONF = "registry.urls"
WSGI_APPLICATION = "registry.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [PROJECT / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.template.context_processors.i18n",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
        },
    },
]

# One database, entered by two roles: see registry/database/roles.py.
DATABASES = {
    "default": {
        "ENGINE": "registry.database.backend",
        "NAME": server.database_name(),
        "ROLE": roles.APPLICATION,
        # A new connection has all it knows of the tables to read first, which takes longer than most pages.
        "CONN_MAX_AGE": 10 * 60,
        "CONN_HEALTH_CHECKS": True,
        # A connection that lasts keeps its statements: planning most of them takes longer than carrying them out.
        "OPTIONS": {"server_side_binding": True, "prepare_threshold": 3},
        "TEST": {"MIRROR": "owner"},
    },
    "owner": {
        "ENGINE": "registry.database.backend",
        "NAME": server.database_name(),
        "ROLE": roles.OWNER,
    },
}
DATABASE_ROUTERS = ["registry.database.router.OwnerMigrates"]
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "people.Account"
LOGIN_URL = "/sign-in/"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "/sign-in/"
AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": "registry.web.known_passwords.NotAKnownPassword"},
]

# Signing in: nobody signs up, people are invited (registry/people/invitations.py).
ACCOUNT_ADAPTER = "registry.web.sign_in.AccountAdapter"
ACCOUNT_LOGIN_METHODS = {"username"}
ACCOUNT_SIGNUP_FIELDS = ["username*", "password1*", "password2*"]
ACCOUNT_EMAIL_VERIFICATION = "none"
ACCOUNT_EMAIL_UNKNOWN_ACCOUNTS = False
ACCOUNT_SESSION_REMEMBER = True
ACCOUNT_LOGOUT_REDIRECT_URL = "/sign-in/"
# What allauth counts by name, or by address without regard for known devices, `web/attempts.py` counts instead.
ACCOUNT_RATE_LIMITS = dict.fromkeys(("login", "login_failed", "reauthenticate", "change_password", "reset_password"))
# As long as a link that was mailed is not mailed again (`web/attempts.py`).
PASSWORD_RESET_TIMEOUT = 60 * 60
MFA_ADAPTER = "registry.web.sign_in.SecondFactorAdapter"
MFA_FORMS = {
    "authenticate": "registry.web.sign_in.CodeForm",
    "reauthenticate": "registry.web.sign_in.CodeAgainForm",
    "activate_totp": "registry.web.sign_in.AppForm",
    "authenticate_webauthn": "registry.web.sign_in.PasskeyStepForm",
    "reauthenticate_webauthn": "registry.web.sign_in.PasskeyAgainForm",
    "login_webauthn": "registry.web.sign_in.PasskeySignInForm",
    "add_webauthn": "registry.web.sign_in.PasskeyForm",
    "edit_webauthn": "registry.web.sign_in.PasskeyNameForm",
}
ACCOUNT_FORMS = {
    "login": "registry.web.sign_in.SignInForm",
    "reauthenticate": "registry.web.sign_in.PasswordAgainForm",
    "change_password": "registry.web.sign_in.NewPasswordForm",
    "set_password": "registry.web.sign_in.FirstPasswordForm",
    "reset_password": "registry.web.sign_in.ForgottenPasswordForm",
    "reset_password_from_key": "registry.web.sign_in.PasswordByLinkForm",
}
MFA_SUPPORTED_TYPES = ["totp", "webauthn", "recovery_codes"]
MFA_PASSKEY_LOGIN_ENABLED = True
# A phone's clock may be half a minute off.
MFA_TOTP_TOLERANCE = 1
MFA_TOTP_ISSUER = "Crew registry"

# For how many calendar years records are kept: jurisdiction, then kind of record (the kinds and from
# when each is counted are in registry/retention/periods.py). Common practice, no source: whoever runs
# the registry sets these figures with counsel, from the law that applies where the work is done.
RETENTION = {
    "default": {
        "employment": 5,
        "language": 5,
        "hours": 10,
        "assessment": 10,
        "certification": 5,
        "instruction": 5,
        "appointment": 10,
        "stand_down": 10,
        "assignment": 10,
        "decision": 10,
        "request": 5,
    },
}

# Every process counts failed attempts in the same place. Django throws a third away beyond MAX_ENTRIES, 300 by
# default: whoever made so many counters would be rid of their own.
DATABASE_CACHE = {
    "BACKEND": "django.core.cache.backends.db.DatabaseCache",
    "LOCATION": "database_cache",
    "OPTIONS": {"MAX_ENTRIES": 1_000_000},
}
# Tables that are being imported, as they were read (registry/evidence/importing/reading.py).
CACHES = {"default": DATABASE_CACHE, "read_tables": DATABASE_CACHE | {"KEY_PREFIX": "read-table"}}

# Lines of JSON on standard error (`web/event_log.py`, `web/log_lines.py`): events of the registry's own. Of a
# library only where in its sources it said something: what it says may be an address with its token, or a name.
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"lines": {"()": "registry.web.log_lines.formatter"}},
    "handlers": {
        "lines": {"class": "logging.StreamHandler", "formatter": "lines"},
        "nowhere": {"class": "logging.NullHandler"},
    },
    "root": {"handlers": ["lines"], "level": "WARNING"},
    "loggers": {
        "registry": {"level": "INFO"},
        "django": {"handlers": []},
        # Failures and refusals are events of our own.
        "django.request": {"handlers": ["nowhere"], "propagate": False},
        "django.security.csrf": {"handlers": ["nowhere"], "propagate": False},
        # It writes down every address.
        "django.server": {"handlers": ["nowhere"], "propagate": False},
    },
}

# Without a mail server, mail is printed where the registry runs.
EMAIL = env.email_url("EMAIL_URL", default="consolemail://")
EMAIL_BACKEND = EMAIL["EMAIL_BACKEND"]
EMAIL_HOST = EMAIL.get("EMAIL_HOST") or "localhost"
EMAIL_PORT = EMAIL.get("EMAIL_PORT") or 25
EMAIL_HOST_USER = EMAIL.get("EMAIL_HOST_USER") or ""
EMAIL_HOST_PASSWORD = EMAIL.get("EMAIL_HOST_PASSWORD") or ""
EMAIL_USE_TLS = EMAIL.get("EMAIL_USE_TLS", False)
EMAIL_USE_SSL = EMAIL.get("EMAIL_USE_SSL", False)
EMAIL_FILE_PATH = EMAIL.get("EMAIL_FILE_PATH")
DEFAULT_FROM_EMAIL = env.str("DEFAULT_FROM_EMAIL", default="registry@localhost")

LANGUAGE_CODE = "en"
LANGUAGES = [("en", _("English")), ("fr", _("French"))]
LOCALE_PATHS = [PROJECT / "locale"]
USE_I18N = True
USE_TZ = True
TIME_ZONE = "UTC"

STATIC_URL = "static/"
# Static files are served from where they lie: there is no step to forget before serving.
WHITENOISE_USE_FINDERS = True
# No other site's scripts read our files.
WHITENOISE_ALLOW_ALL_ORIGINS = False

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["rest_framework.authentication.SessionAuthentication"],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_FILTER_BACKENDS": ["django_filters.rest_framework.DjangoFilterBackend"],
    "DEFAULT_PARSER_CLASSES": ["api.parsing.StrictJSON"],
    "DEFAULT_PAGINATION_CLASS": "api.pages.Pages",
    "PAGE_SIZE": 100,
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "EXCEPTION_HANDLER": "api.problems.handle",
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Crew competency registry",
    "VERSION": "0.2.0",
    "OAS_VERSION": "3.1.1",
    "SERVE_INCLUDE_SCHEMA": False,
}
