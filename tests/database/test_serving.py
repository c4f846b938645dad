"""What answers requests enters as the application alone, over a network only encrypted."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from registry.database import data_folder, roles, server
from registry.database.server import DatabaseUnavailable

OWNER = "postgres://registry_owner:invented@"
APPLICATION = f"postgres://{roles.APPLICATION}:invented@"

LOOKS_AT_ITSELF = """
import os, re, sys
from pathlib import Path
from django.core.wsgi import get_wsgi_application
get_wsgi_application()
from django.conf import settings
from django.db import connection, connections
from registry.database import server
server.serve()
settings.DATABASES["default"]["NAME"] = connection.settings_dict["NAME"] = "postgres"
connection.ensure_connection()
assert list(connections) == ["default"] == list(settings.DATABASES)
for role in ("registry_owner", "registry_superuser"):
    try:
        server.parameters(role)
    except server.DatabaseUnavailable:
        continue
    raise AssertionError(role)
held = {}
with open("/proc/self/maps") as maps, open("/proc/self/mem", "rb", 0) as memory:
    for line in maps:
        ends = re.match(r"([0-9a-f]+)-([0-9a-f]+) rw", line)
        if ends:
            first, end = (int(each, 16) for each in ends.groups())
            memory.seek(first)
            try:
                content = memory.read(end - first)
            except OSError:
                continue
            for name in sys.argv[2:]:
                # Read from the file by the one who looks, and so turned round to be told from what was there before.
                held[name] = held.get(name, False) or bytes.fromhex(name)[::-1] in content
print(held)
"""


@pytest.fixture
def away(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("DATABASE_URL", "DATABASE_APPLICATION_URL", "DATABASE_WITHOUT_TLS", "PGHOST", "PGHOSTADDR"):
        monkeypatch.delenv(name, raising=False)
    for name in ("PGSSLMODE", "PGSERVICE"):
        monkeypatch.delenv(name, raising=False)


pytestmark = pytest.mark.usefixtures("away")


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux lets a process look at its own memory as a file")
def test_the_web_process_holds_neither_the_owners_nor_the_superusers_password() -> None:
    if os.environ.get("DATABASE_URL"):
        pytest.skip("A server of one's own has no secrets in the folder.")
    names = [roles.OWNER, "registry_superuser", roles.APPLICATION]
    secrets = [(data_folder.locate() / f"{name}.secret").read_bytes()[::-1].hex() for name in names]
    done = subprocess.run(
        [sys.executable, "-c", LOOKS_AT_ITSELF, "", *secrets],
        cwd=data_folder.PROJECT,
        env={**os.environ, "DJANGO_SETTINGS_MODULE": "registry.settings"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    # The application's own shows that the looking finds what is there.
    assert done.stdout.strip() == str(dict(zip(secrets, [False, False, True], strict=True)))


def test_the_web_process_is_not_started_with_the_owners_password(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DATABASE_URL", f"{OWNER}localhost/books")
    with pytest.raises(DatabaseUnavailable, match=r"set DATABASE_APPLICATION_URL, such as .*@HOST/books\?sslmode="):
        server.serve()


def test_the_application_alone_is_enough_to_know_the_database(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DATABASE_APPLICATION_URL", f"{APPLICATION}localhost/books")
    assert server.database_name() == "books"
    assert server.parameters(roles.APPLICATION) == {
        "host": "localhost",
        "user": roles.APPLICATION,
        "password": "invented",
    }
    with pytest.raises(DatabaseUnavailable, match="set DATABASE_URL as well"):
        server.parameters(roles.OWNER)


def test_nobody_else_enters_as_the_application(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DATABASE_APPLICATION_URL", f"{OWNER}localhost/books")
    with pytest.raises(DatabaseUnavailable, match="must be registry_application"):
        server.parameters(roles.APPLICATION)


@pytest.mark.parametrize(
    "rest",
    [
        "db.example/books",
        "db.example/books?sslmode=prefer",
        "db.example/books?sslmode=allow",
        "db.example/books?sslmode=disable",
        "10.1.2.3/books",
        "[2001:db8::1]/books",
        "localhost,db.example/books",
        "localhost/books?hostaddr=10.1.2.3",
        "/books?service=elsewhere",
        "localhost.db.example/books",
    ],
)
def test_another_machine_is_entered_encrypted_or_not_at_all(monkeypatch: pytest.MonkeyPatch, rest: str) -> None:
    for variable, url, role in (
        ("DATABASE_URL", f"{OWNER}{rest}", roles.OWNER),
        ("DATABASE_APPLICATION_URL", f"{APPLICATION}{rest}", roles.APPLICATION),
    ):
        with monkeypatch.context() as set_:
            set_.setenv(variable, url)
            with pytest.raises(DatabaseUnavailable, match=f"{variable} leads to another machine"):
                server.parameters(role)


@pytest.mark.parametrize("name", ["PGHOST", "PGHOSTADDR", "PGSERVICE"])
def test_the_environment_leads_to_another_machine_too(monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    monkeypatch.setenv("DATABASE_APPLICATION_URL", f"{APPLICATION}/books")
    monkeypatch.setenv(name, "192.0.2.7")
    with pytest.raises(DatabaseUnavailable, match="another machine"):
        server.parameters(roles.APPLICATION)


@pytest.mark.parametrize(
    "rest",
    [
        "db.example/books?sslmode=require",
        "db.example/books?sslmode=verify-ca",
        "db.example/books?sslmode=verify-full",
        "localhost/books",
        "127.0.0.1/books",
        "[::1]/books",
        "%2Frun%2Fpostgresql/books",
        "/books",
        "/books?hostaddr=127.0.0.1&host=db.example",
    ],
)
def test_this_machine_or_an_encrypted_way_is_entered(monkeypatch: pytest.MonkeyPatch, rest: str) -> None:
    monkeypatch.setenv("DATABASE_APPLICATION_URL", f"{APPLICATION}{rest}")
    assert server.parameters(roles.APPLICATION)["user"] == roles.APPLICATION


def test_an_unencrypted_way_is_entered_where_somebody_said_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DATABASE_APPLICATION_URL", f"{APPLICATION}db.example/books")
    monkeypatch.setenv("DATABASE_WITHOUT_TLS", "1")
    assert server.parameters(roles.APPLICATION)["host"] == "db.example"


def test_the_secret_of_the_folder_is_the_password_where_the_address_has_none(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("REGISTRY_DATA", str(tmp_path / "data"))
    monkeypatch.setenv("DATABASE_APPLICATION_URL", f"postgres://{roles.APPLICATION}@localhost/books")
    assert "password" not in server.parameters(roles.APPLICATION)
    kept = data_folder.secret(roles.APPLICATION)
    assert server.parameters(roles.APPLICATION)["password"] == kept
