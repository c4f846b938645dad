"""The registry as it is served for real work: what its settings decide, and what every answer carries."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from django.core.wsgi import get_wsgi_application
from django.test import Client, RequestFactory

from registry.people.models import Account
from registry.web.bodies import Bodies
from tests.world import World

PROJECT = Path(__file__).resolve().parent.parent.parent
PERSONAL = (
    "/",
    "/account/",
    "/api/jobs/",
    "/api/schema/",
    "/workers/",
    "/log/",
    "/account/invitations/",
    "/nothing-here/",
)


def run(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """Django's own command by the registry's settings, with nothing set that the tests have set."""
    kept = {
        name: value
        for name, value in os.environ.items()
        if name not in ("REGISTRY_PLAIN_HTTP_ON_LOOPBACK", "DJANGO_SETTINGS_MODULE", "REGISTRY_DEBUG", "DEBUG")
    }
    return subprocess.run(
        [sys.executable, *arguments],
        cwd=PROJECT,
        env={**kept, "DJANGO_SETTINGS_MODULE": "registry.settings", **environment},
        capture_output=True,
        text=True,
        check=False,
    )


def settings_of(*names: str, **environment: str) -> dict[str, object]:
    told = f"{{name: getattr(settings, name) for name in {names!r}}}"
    code = f"import json; from django.conf import settings; print(json.dumps({told}))"
    done = run("-c", code, **environment)
    assert done.returncode == 0, done.stderr
    return dict(json.loads(done.stdout))


COOKIES = ("SESSION_COOKIE_NAME", "CSRF_COOKIE_NAME", "LANGUAGE_COOKIE_NAME", "KNOWN_DEVICE_COOKIE_NAME")
SAFE = (
    "SESSION_COOKIE_SECURE",
    "CSRF_COOKIE_SECURE",
    "LANGUAGE_COOKIE_SECURE",
    "SECURE",
    "SECURE_SSL_REDIRECT",
    "SECURE_HSTS_INCLUDE_SUBDOMAINS",
)


def test_djangos_check_for_deployment_finds_nothing() -> None:
    done = run(
        "-m",
        "django",
        "check",
        "--deploy",
        "--fail-level",
        "WARNING",
        BEHIND_PROXY="1",
        ALLOWED_HOSTS="registry.example",
    )
    assert done.returncode == 0, done.stderr
    assert "no issues" in done.stdout


@pytest.mark.parametrize(
    "environment",
    [{}, {"DEBUG": "1"}, {"DEBUG": "true", "SECURE_SSL_REDIRECT": "0"}, {"ALLOWED_HOSTS": "registry.example"}],
)
def test_no_generic_name_turns_safe_cookies_off(environment: dict[str, str]) -> None:
    found = settings_of(*SAFE, *COOKIES, "DEBUG", "SECURE_HSTS_SECONDS", **environment)
    assert all(found[each] is True for each in SAFE)
    assert found["DEBUG"] is False
    assert all(str(found[each]).startswith("__Host-") for each in COOKIES)
    assert found["SECURE_HSTS_SECONDS"] == 365 * 24 * 60 * 60


def test_debugging_does_not_come_with_serving() -> None:
    done = run("-m", "django", "check", REGISTRY_DEBUG="1")
    assert done.returncode != 0
    assert "REGISTRY_DEBUG shows settings and records to every visitor" in done.stderr


def test_debugging_on_this_machine_leaves_cookies_as_they_are() -> None:
    plain = settings_of(*SAFE, *COOKIES, REGISTRY_PLAIN_HTTP_ON_LOOPBACK="1")
    assert settings_of(*SAFE, *COOKIES, REGISTRY_PLAIN_HTTP_ON_LOOPBACK="1", REGISTRY_DEBUG="1") == plain


@pytest.mark.parametrize("hosts", ["registry.example", "*", "localhost,registry.example"])
def test_plain_http_is_for_this_machine_alone(hosts: str) -> None:
    done = run("-m", "django", "check", REGISTRY_PLAIN_HTTP_ON_LOOPBACK="1", ALLOWED_HOSTS=hosts)
    assert done.returncode != 0
    assert "serves this machine alone" in done.stderr


def test_keys_from_before_come_from_the_environment() -> None:
    found = settings_of("SECRET_KEY", "SECRET_KEY_FALLBACKS", SECRET_KEY="new", SECRET_KEY_FALLBACKS="old,older")
    assert found == {"SECRET_KEY": "new", "SECRET_KEY_FALLBACKS": ["old", "older"]}


def test_cookies_as_they_are_served() -> None:
    """In a process of its own, by the settings that serving has."""
    code = """
import json, django
django.setup()
from django.test import Client
from django.conf import settings
from django.test.utils import override_settings
# Nobody is read for: this process has no database.
without = [each for each in settings.MIDDLEWARE if not each.endswith("read_as_the_account")]
with override_settings(ALLOWED_HOSTS=["registry.example"], MIDDLEWARE=without):
    client = Client(headers={"host": "registry.example"})
    safe = client.get("/sign-in/", secure=True)
    led = client.get("/sign-in/")
print(json.dumps({
    "led": [led.status_code, led["Location"]],
    "headers": dict(safe.headers),
    "cookies": {name: {k: v for k, v in each.items()} for name, each in safe.cookies.items()},
}))
"""
    done = run("-c", code)
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["led"] == [301, "https://registry.example/sign-in/"]
    assert told["headers"]["Strict-Transport-Security"] == "max-age=31536000; includeSubDomains"
    cookie = told["cookies"]["__Host-csrftoken"]
    assert (cookie["secure"], cookie["httponly"], cookie["path"], cookie["domain"]) == (True, True, "/", "")


def test_the_interface_is_refused_over_plain_http_and_not_led_on(dispatcher: Client, settings: Any) -> None:
    """OWASP ASVS 5.0, 4.1.2."""
    settings.SECURE_SSL_REDIRECT = True
    over_http, page = dispatcher.get("/api/jobs/"), dispatcher.get("/jobs/")
    assert (over_http.status_code, over_http.headers["Content-Type"]) == (403, "application/problem+json")
    assert page.status_code == 301
    assert dispatcher.get("/api/jobs/", secure=True).status_code == 200


@pytest.mark.parametrize(("sent", "answer"), [("https", 200), ("http", 301)])
def test_behind_a_proxy_what_it_says_of_https_counts(
    client: Client, db: None, settings: Any, sent: str, answer: int
) -> None:
    settings.SECURE_SSL_REDIRECT = True
    settings.SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    assert client.get("/sign-in/", headers={"X-Forwarded-Proto": sent}).status_code == answer


# Answers


@pytest.mark.parametrize("method", ["TRACE", "TRACK", "CONNECT", "PROPFIND", "trace"])
@pytest.mark.parametrize(
    "path", ["/", "/sign-in/", "/api/jobs/", "/static/registry/registry.css", "/health/live", "/x"]
)
def test_nothing_shows_a_request_to_its_sender(dispatcher: Client, method: str, path: str) -> None:
    answer = dispatcher.generic(method, path)
    assert answer.status_code == 405
    assert dispatcher.cookies["sessionid"].value not in answer.text


@pytest.mark.parametrize("path", PERSONAL)
def test_no_answer_for_somebody_signed_in_is_stored(dispatcher: Client, path: str) -> None:
    assert "no-store" in dispatcher.get(path).headers["Cache-Control"]


def test_no_download_is_stored(dispatcher: Client, world: World) -> None:
    for path in (f"/documents/{world.scan.pk}/", "/account/recovery-codes/download/"):
        assert "no-store" in dispatcher.get(path).headers["Cache-Control"], path


@pytest.mark.parametrize("path", ["/sign-in/", "/check/", "/check/?number=TE-20811", "/shared/a-token/", "/api/jobs/"])
def test_no_answer_for_a_visitor_is_stored(client: Client, db: None, path: str) -> None:
    assert "no-store" in client.get(path).headers["Cache-Control"]


def test_static_files_may_be_stored(client: Client) -> None:
    assert "no-store" not in client.get("/static/registry/registry.css").headers.get("Cache-Control", "")


def test_static_files_are_read_by_no_other_sites_scripts(client: Client) -> None:
    assert "Access-Control-Allow-Origin" not in client.get("/static/registry/registry.css").headers


def sent_too_much(client: Client) -> Any:
    """As the whole application answers it, and not Django alone."""
    answered: dict[str, Any] = {}
    sent = {"CONTENT_LENGTH": str(10**9), "wsgi.input": io.BytesIO()}
    asked = RequestFactory().post("/sign-in/").environ | sent

    def start_response(status: str, headers: list[tuple[str, str]]) -> None:
        answered.update(status=int(status[:3]), headers=dict(headers))

    Bodies(get_wsgi_application())(asked, start_response)
    return SimpleNamespace(status_code=answered["status"], headers=answered["headers"])


KINDS_OF_ANSWER = {
    "a page": (200, lambda client: client.get("/sign-in/")),
    "nothing there": (404, lambda client: client.get("/nothing-here/")),
    "the interface": (403, lambda client: client.get("/api/jobs/")),
    "a file": (200, lambda client: client.get("/static/registry/registry.css")),
    "health": (200, lambda client: client.get("/health/live")),
    "a method nobody uses": (405, lambda client: client.generic("TRACE", "/sign-in/")),
    "another host's name": (400, lambda client: client.get("/sign-in/", headers={"host": "elsewhere.example"})),
    "another session's form": (403, lambda client: Client(enforce_csrf_checks=True).post("/sign-in/")),
    "a failure": (500, lambda client: client.get("/sign-in/")),
    "to https": (301, lambda client: client.get("/sign-in/")),
    "the interface over http": (403, lambda client: client.get("/api/jobs/")),
    "a body that is too large": (413, sent_too_much),
}


@pytest.mark.parametrize("kind", KINDS_OF_ANSWER)
def test_what_every_answer_carries(
    client: Client, db: None, settings: Any, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    status, ask = KINDS_OF_ANSWER[kind]
    settings.SECURE_SSL_REDIRECT = "http" in kind
    if kind == "a failure":
        client.raise_request_exception = False
        monkeypatch.setattr("allauth.account.views.LoginView.get", lambda *args, **more: 1 / 0)
    answer = ask(client)
    headers = answer.headers
    assert answer.status_code == status
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["X-Frame-Options"] == "DENY"
    assert headers["Referrer-Policy"] == "same-origin"
    assert headers["Cross-Origin-Opener-Policy"] == "same-origin"
    assert headers["Cross-Origin-Resource-Policy"] == "same-origin"
    assert "camera=()" in headers["Permissions-Policy"]
    assert "publickey-credentials-get=(self)" in headers["Permissions-Policy"]
    assert "frame-ancestors 'none'" in headers["Content-Security-Policy"]
    assert kind == "a file" or "no-store" in headers["Cache-Control"]


def test_messages_are_kept_in_the_register_and_in_no_cookie(world: World) -> None:
    client = Client()
    account = Account.objects.create_user(username="somebody", kind="inspector")
    client.force_login(account)
    client.post("/sign-out/")
    client.get("/")
    assert set(client.cookies) <= {"sessionid", "csrftoken", "known-device", "language"}
