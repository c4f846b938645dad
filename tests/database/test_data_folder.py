"""Nothing that is missing from a register's folder is made new, and nothing that is there is made over."""

from __future__ import annotations

import http.client
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, LiteralString

import psycopg
import pytest
from psycopg.conninfo import make_conninfo

from registry.database import cluster, data_folder, identity, keeper, locks, roles, server
from registry.database.data_folder import PROJECT, UnusableDataFolder
from tests.forks import Forks

SECONDS = 300
HOLDS = """
import json, sys
from registry.database import server
print(json.dumps(server.parameters("registry_owner")), flush=True)
sys.stdin.read()
"""

SERVED = ["-c", "import registry.wsgi"]

SERVES_THE_DEMONSTRATION = """
import django
from django.core.management import call_command
from django.db import connections
import os
os.environ["DJANGO_SETTINGS_MODULE"] = "registry.settings"
django.setup()
call_command("checkpoint", stdout=open(os.devnull, "w"))
connections["owner"].ensure_connection()
from registry.database import serving
serving.begin_demonstration()
import registry.wsgi
from django.test import Client
print(list(connections), Client().get("/", headers={"host": "localhost"}).status_code)
"""

Connection = psycopg.Connection[tuple[Any, ...]]


def environment(folder: Path, **more: str) -> dict[str, str]:
    """Of a process on this folder, whatever the tests themselves use."""
    away = ("DATABASE_URL", "DATABASE_APPLICATION_URL", "REGISTRY_DEMO", *identity.MADE_IN_THE_FOLDER)
    kept = {name: value for name, value in os.environ.items() if name not in away}
    return {**kept, "REGISTRY_DATA": str(folder), **more}


@pytest.fixture(scope="module", autouse=True)
def forks() -> Iterator[None]:
    """Where the processes of this module come from."""
    _Processes.forks = Forks()
    with tempfile.TemporaryDirectory() as written:
        _Processes.written = Path(written)
        yield
        _Processes.forks.end()


class _Processes:
    forks: Forks
    written: Path


def run(folder: Path, *command: str, **more: str) -> subprocess.CompletedProcess[str]:
    return _Processes.forks.run(command, environment=environment(folder, **more), written=_Processes.written)


def manage(folder: Path, *command: str, **more: str) -> subprocess.CompletedProcess[str]:
    return run(folder, "manage.py", *command, **more)


def let_go(folder: Path) -> None:
    """Wait until no server runs on the folder."""
    os.close(locks.exclusive(folder / keeper.KEEPER_LOCK))


@pytest.fixture(scope="module")
def begun(forks: None) -> Iterator[Path]:
    """The folder of a real register, which has signed a checkpoint; the tests leave it as they find it."""
    parent = Path(tempfile.mkdtemp(dir="/tmp", prefix="folder-"))
    parent.chmod(0o755)
    folder = parent / "data"
    for command in (["prepare", "--new"], ["checkpoint"]):
        done = manage(folder, *command)
        assert done.returncode == 0, done.stderr
    let_go(folder)
    yield folder
    let_go(folder)
    shutil.rmtree(parent)


@pytest.fixture
def here(begun: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The same folder, for this very process."""
    for name, value in environment(begun).items():
        monkeypatch.setenv(name, value)
    for name in ("DATABASE_URL", "DATABASE_APPLICATION_URL"):
        monkeypatch.delenv(name, raising=False)
    return begun


def everything(folder: Path) -> dict[str, Any]:
    """What is in the folder and below, and when it was written; what any start locks and logs is left out."""
    ours = (keeper.LOG_FILE, keeper.USERS_LOCK, keeper.KEEPER_LOCK)
    return {
        str(path.relative_to(folder)): (path.stat().st_ino, path.stat().st_size, path.stat().st_mtime_ns)
        for path in sorted(folder.rglob("*"))
        if path.name not in ours
    }


@pytest.fixture
def owner(begun: Path) -> Iterator[Connection]:
    """The owner of the tables, past all commands; the server runs on meanwhile, and what is done is undone."""
    holder = subprocess.Popen(
        [sys.executable, "-c", HOLDS],
        cwd=PROJECT,
        env=environment(begun),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert holder.stdout is not None
    parameters = json.loads(holder.stdout.readline())
    with psycopg.connect(dbname="registry", autocommit=True, **parameters) as connection:
        yield connection
    holder.communicate(timeout=SECONDS)
    let_go(begun)


@contextmanager
def changed(owner: Connection, statements: Sequence[LiteralString], back: Sequence[LiteralString]) -> Iterator[None]:
    """The database is otherwise while this lasts."""
    for each in statements:
        owner.execute(each)
    try:
        yield
    finally:
        for each in back:
            owner.execute(each)


UNGUARDED: LiteralString = "ALTER TABLE database_register DISABLE TRIGGER never_changed"
GUARDED: LiteralString = "ALTER TABLE database_register ENABLE TRIGGER never_changed"
HIDDEN: LiteralString = "ALTER TABLE database_register RENAME TO lost"
SHOWN: LiteralString = "ALTER TABLE lost RENAME TO database_register"
NEVER_CHANGED: LiteralString = (
    "CREATE TRIGGER never_changed BEFORE UPDATE OR DELETE ON crews_job "
    "FOR EACH ROW EXECUTE FUNCTION registry_refuse_change()"
)


KEPT = [
    "decision-sealing.secret",
    "django.secret",
    "log-origin.secret",
    "log-signing-key.pem",
    "registry_application.secret",
    "registry_owner.secret",
    "registry_superuser.secret",
]


def test_the_folder_names_all_that_was_made_in_it(here: Path) -> None:
    register = data_folder.register()
    made = [path.name for pattern in ("*.secret", "*.pem") for path in here.glob(pattern)]
    assert sorted(made) == list(register.kept) == KEPT
    assert register.begun
    assert register.cluster == "cluster"
    server.require_whole_folder()


@pytest.mark.parametrize(
    "name", [*KEPT, data_folder.REGISTER, "cluster", *(f"cluster/{part}" for part in cluster.PARTS)]
)
def test_whatever_is_missing_is_named_and_not_made_new(here: Path, tmp_path: Path, name: str) -> None:
    away = tmp_path / "away"
    (here / name).rename(away)
    try:
        before = everything(here)
        with pytest.raises(UnusableDataFolder) as refused:
            server.require_whole_folder()
        assert Path(name).name in str(refused.value)
        assert str(here) in str(refused.value)
        assert "Nothing was changed" in str(refused.value)
        with pytest.raises(UnusableDataFolder):
            cluster.prepare(here)
        assert everything(here) == before
    finally:
        away.rename(here / name)


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        *((name, kept) for name in KEPT for kept in ((0, 24, 63) if name.endswith(".secret") else (0,))),
        *((f"cluster/{part}", 0) for part in ("PG_VERSION", "global/pg_control", "pg_hba.conf", cluster.MARK)),
    ],
)
def test_whatever_is_cut_short_is_named_and_not_used(here: Path, name: str, kept: int) -> None:
    file = here / name
    own = file.read_bytes()
    file.write_bytes(own[:kept])
    try:
        before = everything(here)
        with pytest.raises(UnusableDataFolder) as refused:
            server.require_whole_folder()
        assert Path(name).name in str(refused.value)
        assert "Nothing was changed" in str(refused.value)
        if "/" not in name:
            with pytest.raises(UnusableDataFolder, match="cut short"):
                data_folder.kept(name, lambda: b"made new")
        assert everything(here) == before
    finally:
        file.write_bytes(own)


def test_an_empty_folder_in_place_of_the_database_is_no_new_database(here: Path, tmp_path: Path) -> None:
    (here / "cluster").rename(tmp_path / "cluster")
    (here / "cluster").mkdir()
    try:
        with pytest.raises(UnusableDataFolder, match="its database is missing: looked for in .*Mount the volume"):
            cluster.prepare(here)
        assert list((here / "cluster").iterdir()) == []
    finally:
        (here / "cluster").rmdir()
        (tmp_path / "cluster").rename(here / "cluster")


def test_the_database_of_another_register_is_refused(here: Path) -> None:
    mark = here / "cluster" / cluster.MARK
    own = mark.read_text()
    mark.write_text("0" * 32)
    try:
        with pytest.raises(UnusableDataFolder, match="is of the register 0{32}, but the data folder"):
            cluster.prepare(here)
    finally:
        mark.write_text(own)


@pytest.mark.parametrize("content", ["", "{", "[]", '{"number": "1"}'])
def test_a_damaged_register_file_is_refused(here: Path, content: str) -> None:
    file = here / data_folder.REGISTER
    own = file.read_text()
    file.write_text(content)
    try:
        with pytest.raises(UnusableDataFolder, match="cannot be read"):
            server.require_whole_folder()
    finally:
        file.write_text(own)


@pytest.mark.parametrize(
    "command",
    [
        pytest.param(["manage.py", "verify"], id="verify"),
        pytest.param(["manage.py", "prepare", "--new"], id="prepare --new"),
        pytest.param(["manage.py", "demo"], id="demo"),
        pytest.param(["manage.py", "signing_key", "show"], id="a command that asks no database"),
        pytest.param(["-c", "import registry.wsgi"], id="a web server"),
    ],
)
def test_every_command_stops_where_the_database_is_missing(begun: Path, tmp_path: Path, command: list[str]) -> None:
    (begun / "cluster").rename(tmp_path / "cluster")
    try:
        before = everything(begun)
        done = run(begun, *command)
        assert done.returncode in (2, 3)
        assert done.stderr.startswith(f"The data folder {begun} holds the keys and secrets of a register, but its ")
        assert len(done.stderr.splitlines()) == 1
        assert everything(begun) == before
    finally:
        (tmp_path / "cluster").rename(begun / "cluster")


@pytest.mark.parametrize("command", [["verify"], ["prepare", "--new"]])
def test_a_database_that_lost_its_register_is_not_begun_again(
    begun: Path, owner: Connection, command: list[str]
) -> None:
    with changed(
        owner,
        [HIDDEN, "ALTER TABLE django_migrations RENAME TO lost_as_well"],
        [SHOWN, "ALTER TABLE lost_as_well RENAME TO django_migrations"],
    ):
        done = manage(begun, *command)
    assert done.returncode == 2, done.stderr
    assert "holds the keys of a register that has begun, but the database of the data" in done.stderr


def test_a_database_with_another_number_is_anothers(begun: Path, owner: Connection) -> None:
    own = json.loads((begun / data_folder.REGISTER).read_text())["number"]
    with changed(
        owner,
        [UNGUARDED, "UPDATE database_register SET number = reverse(number) || '9'"],
        ["UPDATE database_register SET number = reverse(left(number, -1))", GUARDED],
    ):
        done = manage(begun, "checkpoint")
    assert done.returncode == 2
    assert f"holds the register {own[::-1]}9, but the data folder {begun} is of another, {own}" in done.stderr


def test_a_folder_without_the_keys_comes_to_no_database_that_has_begun(
    begun: Path, owner: Connection, tmp_path: Path
) -> None:
    url = make_conninfo(dbname="registry", host=owner.info.host, user=owner.info.user, password=owner.info.password)
    done = manage(tmp_path / "empty", "checkpoint", DATABASE_URL=url)
    assert done.returncode == 2
    assert f"but the data folder {tmp_path / 'empty'} is of another" in done.stderr
    assert "A machine of its own without a copy of that folder needs an empty one and SECRET_KEY, " in done.stderr
    # The password of the application's role is still that of the folder it belongs to.
    password = (begun / f"{roles.APPLICATION}.secret").read_text()
    psycopg.connect(dbname="registry", host=owner.info.host, user=roles.APPLICATION, password=password).close()


def test_an_empty_database_elsewhere_is_no_register_of_a_folder_that_has_begun(
    here: Path, owner: Connection, tmp_path: Path
) -> None:
    owner.execute("CREATE DATABASE empty")
    try:
        url = make_conninfo(dbname="empty", host=owner.info.host, user=owner.info.user, password=owner.info.password)
        for command in (["verify"], ["prepare", "--new"]):
            done = manage(here, *command, DATABASE_URL=url)
            assert done.returncode == 2
            assert "holds the keys of a register that has begun, but the database empty at" in done.stderr
        done = manage(tmp_path / "new", "verify", DATABASE_URL=url)
        assert "There is no register in the database empty at" in done.stderr
    finally:
        owner.execute("DROP DATABASE empty")


def test_a_machine_with_every_key_in_its_environment_comes_to_the_register(
    owner: Connection, tmp_path: Path, here: Path
) -> None:
    password = (here / f"{roles.APPLICATION}.secret").read_text()
    url = make_conninfo(dbname="registry", host=owner.info.host, user=roles.APPLICATION, password=password)
    keys = dict.fromkeys(identity.MADE_IN_THE_FOLDER, "x" * 60)
    done = manage(tmp_path / "other", "verify", DATABASE_APPLICATION_URL=url, **keys)
    assert done.stdout.endswith("IN ORDER: nothing was found.\n"), done.stderr
    came = json.loads((tmp_path / "other" / data_folder.REGISTER).read_text())
    assert (came["number"], came["begun"], came["kept"]) == (data_folder.register().number, True, [])


def test_the_folder_of_the_demonstration_is_never_served_for_real_work(begun: Path, owner: Connection) -> None:
    with changed(
        owner,
        [UNGUARDED, "UPDATE database_register SET demonstration = true"],
        ["UPDATE database_register SET demonstration = false", GUARDED],
    ):
        for command in (
            ["manage.py", "invite", "--kind", "registrar"],
            ["manage.py", "prepare"],
            ["manage.py", "serve"],
            SERVED,
        ):
            done = run(begun, *command)
            assert done.returncode in (2, 3), done.stdout
            assert "holds the demonstration, whose passwords and codes are public" in done.stderr
        done = run(begun, *SERVED, REGISTRY_DEMO="1")
        assert done.returncode == 3
        assert "the demonstration is served by `python3 manage.py demo` alone" in done.stderr
        assert manage(begun, "checkpoint", REGISTRY_DEMO="1").returncode == 0
        done = run(begun, "-c", SERVES_THE_DEMONSTRATION, REGISTRY_DEMO="1")
        assert done.stdout == "['default'] 302\n", done.stderr


def test_the_demonstration_is_never_loaded_into_a_real_register(begun: Path, owner: Connection) -> None:
    for command in (["demo", "--no-browser", "--port", "0"], ["load_demo"]):
        done = manage(begun, *command)
        assert done.returncode != 0
        assert "real register" in done.stderr


def test_a_register_that_has_begun_is_prepared_again_and_never_begun_again(begun: Path, owner: Connection) -> None:
    done = manage(begun, "prepare", "--new")
    assert done.returncode == 1
    assert "A register has begun there already" in done.stderr
    with changed(owner, ["DROP TRIGGER never_changed ON crews_job"], [NEVER_CHANGED]):
        for command in (["manage.py", "prepare"], SERVED):
            done = run(begun, *command)
            assert done.returncode in (1, 3)
            told = "are not those of this version: changed: table crews_job (without “CREATE TRIGGER never_changed"
            assert told in done.stderr
    assert manage(begun, "prepare").returncode == 0
    assert run(begun, *SERVED).returncode == 0


def test_the_register_is_served_by_a_command(begun: Path, owner: Connection) -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    served = subprocess.Popen(
        [sys.executable, "manage.py", "serve", "--bind", f"127.0.0.1:{port}"],
        cwd=PROJECT,
        env=environment(begun, BEHIND_PROXY="1", REGISTRY_PLAIN_HTTP_ON_LOOPBACK="0"),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert served.stdout is not None
    try:
        assert served.stdout.readline() == f"The register answers at 127.0.0.1:{port}.\n"
        for path, scheme, status in (
            ("/health/ready", "http", 200),
            ("/sign-in/", "http", 301),
            ("/sign-in/", "https", 200),
        ):
            connection = http.client.HTTPConnection("127.0.0.1", port, timeout=SECONDS)
            connection.request("GET", path, headers={"X-Forwarded-Proto": scheme})
            assert connection.getresponse().status == status
            connection.close()
    finally:
        served.terminate()
        assert served.wait(SECONDS) == 0
        served.stdout.close()


@pytest.mark.parametrize(
    ("arguments", "more", "said"),
    [
        ([], {"DATABASE_URL": "postgres://registry_owner:invented@/registry"}, "enters as the owner of the tables"),
        (["--bind", "8000"], {}, "--bind is written HOST:PORT"),
    ],
)
def test_what_keeps_the_register_from_being_served_is_said_in_a_sentence(
    begun: Path, arguments: list[str], more: dict[str, str], said: str
) -> None:
    done = manage(begun, "serve", *arguments, **more)
    assert done.returncode in (1, 2)
    assert said in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("command", [["verify"], ["prepare"], ["migrate"], ["serve"]])
def test_an_empty_folder_begins_nothing_unasked(tmp_path: Path, command: list[str]) -> None:
    done = manage(tmp_path / "new", *command)
    assert done.returncode == 2
    assert "There is no register in the data folder" in done.stderr
    assert "prepare --new" in done.stderr
    assert not (tmp_path / "new" / "cluster").exists()


@pytest.mark.parametrize(
    "held", ["django.secret", "log-signing-key.pem", "log-mirror/", "cluster/", "cluster-elsewhere"]
)
def test_the_folder_of_release_0_1_0_is_recognised(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, held: str) -> None:
    folder = tmp_path / "old"
    folder.mkdir()
    (folder / held).mkdir() if held.endswith("/") else (folder / held).write_text("kept")
    before = everything(folder)
    done = manage(folder, "prepare")
    assert done.returncode == 2
    assert "If release 0.1.0 made the folder, this release cannot read its records" in done.stderr
    assert everything(folder) == before


def test_a_database_of_release_0_1_0_is_recognised(begun: Path, owner: Connection) -> None:
    with changed(
        owner,
        [HIDDEN, "INSERT INTO django_migrations (app, name, applied) VALUES ('ledger', '0002_log', now())"],
        [SHOWN, "DELETE FROM django_migrations WHERE name = '0002_log'"],
    ):
        done = manage(begun, "verify")
    assert done.returncode == 2
    assert "made by another release of the registry, such as 0.1.0: it has been through ledger.0002_log" in done.stderr


KILLED = """
import os, sys
from pathlib import Path

writes, last = 0, int(sys.argv[1])
NAMES = {"os.mkdir", "os.rename", "os.link", "os.remove", "os.rmdir", "os.chmod", "os.chown", "subprocess.Popen"}

def count(event, arguments):
    global writes
    opened = event == "open" and isinstance(arguments[2], int) and arguments[2] & (os.O_WRONLY | os.O_RDWR)
    if not opened and event not in NAMES or "tmp/registry-" in str(arguments[:1]):
        return
    writes += 1
    if writes == last:
        os.kill(os.getpid(), 9)

from registry.database import cluster, data_folder
data_folder.locate()
cluster._service_account()
sys.addaudithook(count)
cluster.prepare(data_folder.locate())
print(writes)
"""


def test_a_first_start_that_is_killed_at_any_step_is_finished_by_a_later_one(tmp_path: Path) -> None:
    folder = Path(tempfile.mkdtemp(dir="/tmp", prefix="killed-")) / "data"
    folder.parent.chmod(0o755)
    try:
        folder.mkdir()
        (folder / "of somebody else").write_text("kept")
        for step in range(1, 60):
            done = run(folder, "-c", KILLED, str(step))
            if done.returncode == 0:
                break
            assert done.returncode == -signal.SIGKILL, done.stderr
        assert done.returncode == 0
        assert step > 5
        names = {path.name for path in folder.iterdir() if not path.name.endswith(".draft")}
        assert names == {"of somebody else", "cluster", "register.json", "register.lock", "registry_superuser.secret"}
        assert json.loads((folder / "register.json").read_text())["cluster"] == "cluster"
        used = "from registry.database import server; print(server.parameters('registry_application')['user'])"
        assert run(folder, "-c", used).stdout == "registry_application\n"
        let_go(folder)
    finally:
        shutil.rmtree(folder.parent)


@pytest.mark.parametrize("name", ["cluster", "cluster.beginning"])
def test_a_first_start_goes_over_nothing_that_is_not_its_own(tmp_path: Path, name: str) -> None:
    folder = Path(tempfile.mkdtemp(dir="/tmp", prefix="foreign-"))
    folder.chmod(0o755)
    try:
        assert manage(folder, "help").returncode == 0
        (folder / name).mkdir()
        (folder / name / "records").write_text("of years")
        before = everything(folder / name)
        done = manage(folder, "prepare", "--new")
        assert done.returncode == 2
        assert f"The folder {folder / name}, where a new database would be made, is not empty" in done.stderr
        assert everything(folder / name) == before
    finally:
        shutil.rmtree(folder)
