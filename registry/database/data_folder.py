"""The folder that holds this installation's database, secrets, keys and mirror, and says which register they are of.

``register.json`` ties them together. It holds a random number, which the database and the folder of an own
database's files carry too, and names what was made here once and must not be missing: a secret that is gone is
never made a second time, and a database that is gone is never replaced by an empty one.
"""

import fcntl
import json
import os
import secrets
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

PROJECT = Path(__file__).resolve().parent.parent.parent
REGISTER = "register.json"
REGISTER_LOCK = "register.lock"
SECRET_BYTES = 48
WRITTEN_SECRET = len(secrets.token_urlsafe(SECRET_BYTES))
HELD_BY_A_REGISTER = ("*.secret", "*.pem", "cluster", "cluster-elsewhere", "log-mirror")
"""What lies in the folder of a register; anything else in it is not ours."""


class UnusableDataFolder(RuntimeError):
    """Why no command goes on with this data folder or its database, in words for a person."""


@dataclass(frozen=True)
class Register:
    """What ``register.json`` says.

    ``number`` is 32 random hexadecimal digits; ``kept`` are names of files made once; ``cluster`` is the path of the
    own database's files, from the data folder; ``begun`` is whether the database was prepared to take records.
    """

    number: str
    kept: tuple[str, ...] = ()
    cluster: str | None = None
    begun: bool = False


def locate() -> Path:
    """The data folder, made if it is not there yet."""
    folder = Path(os.environ.get("REGISTRY_DATA") or PROJECT / ".registry-data").resolve()
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as error:
        raise UnusableDataFolder(
            f"The data folder {folder} cannot be made ({error.strerror}); make it, mount the volume it lies on, or set "
            "REGISTRY_DATA to another folder. Nothing was changed."
        ) from error
    if folder.stat().st_uid != os.geteuid():
        raise UnusableDataFolder(
            f"The data folder {folder} belongs to another user; "
            "run as that user or set REGISTRY_DATA to a folder of your own."
        )
    if os.geteuid() == 0:
        # The database server runs under an account of its own, which must pass through.
        folder.chmod(stat.S_IMODE(folder.stat().st_mode) | stat.S_IXGRP | stat.S_IXOTH)
    return folder


def register() -> Register:
    """Which register the folder is of; an empty folder becomes that of a new one, which has not begun.

    Raises :class:`UnusableDataFolder` where the file is damaged, or missing from a folder that holds a register.
    """
    folder = locate()
    path = folder / REGISTER
    held = sorted({each.name for pattern in HELD_BY_A_REGISTER for each in folder.glob(pattern)})
    # Asked after the listing: a process that begins here writes this file before any other.
    if not path.exists():
        if held:
            raise UnusableDataFolder(_without_its_file(folder, held))
        write_once(path, _written(Register(secrets.token_hex(16))))
    return _read(path)


def require_whole() -> Register:
    """The folder's register. Raises :class:`UnusableDataFolder` where a file made here is missing or cut short."""
    found = register()
    folder = locate()
    missing = [name for name in found.kept if not _is_whole(folder / name)]
    if missing:
        raise UnusableDataFolder(_missing(folder, missing))
    return found


def change(**changes: Any) -> Register:
    """Write other values into ``register.json``, one process at a time; the file is the old or the new one, whole."""
    with _alone():
        changed = replace(register(), **changes)
        _write(changed)
    return changed


def kept(name: str, make: Callable[[], bytes]) -> Path:
    """The path of a file that is made once, by ``make``, for the register's whole life.

    Raises :class:`UnusableDataFolder` where it was made before and is missing or cut short.
    """
    path = locate() / name
    if name in register().kept and _is_whole(path):
        return path
    with _alone():
        found = register()
        if not path.exists() and name not in found.kept:
            write_once(path, make())
        if not _is_whole(path):
            raise UnusableDataFolder(_missing(path.parent, [name]))
        # Named after it was written: an interruption between the two leaves a file too many, never one too few.
        _write(replace(found, kept=tuple(sorted({*found.kept, name}))))
    return path


def secret(name: str) -> str:
    """A random secret that stays the same for this data folder. Raises as :func:`kept`."""
    return kept(f"{name}.secret", lambda: secrets.token_urlsafe(SECRET_BYTES).encode()).read_text()


def _is_whole(path: Path) -> bool:
    """Whether a file made here is there, and not the beginning of it alone: an empty secret is anybody's."""
    return path.exists() and path.stat().st_size >= (WRITTEN_SECRET if path.suffix == ".secret" else 1)


def write_once(path: Path, content: bytes) -> None:
    """Write a file for its owner's eyes alone, unless it is there already."""
    draft = _draft(path, content)
    try:
        # Linking fails if another process was first: then its content is the one.
        os.link(draft, path)
    except FileExistsError:
        pass
    finally:
        draft.unlink()
    _settle(path.parent)


def replace_file(path: Path, content: bytes) -> None:
    """Write a file for its owner's eyes alone in place of the one that is there: whoever reads finds either, whole."""
    _draft(path, content).replace(path)
    _settle(path.parent)


def _draft(path: Path, content: bytes) -> Path:
    draft = path.with_name(f"{path.name}.{os.getpid()}.{secrets.token_hex(4)}.draft")
    try:
        with open(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        draft.unlink(missing_ok=True)
        raise UnusableDataFolder(
            f"The file {path} cannot be written ({error.strerror}): the data folder is read-only, full, or another "
            "user's. Nothing was changed."
        ) from error
    return draft


def _settle(folder: Path) -> None:
    """Names reach the disk as contents do."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


@contextmanager
def _alone() -> Iterator[None]:
    descriptor = os.open(locate() / REGISTER_LOCK, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        yield
    finally:
        os.close(descriptor)


def _write(changed: Register) -> None:
    replace_file(locate() / REGISTER, _written(changed))


def _written(given: Register) -> bytes:
    return (json.dumps(asdict(given), indent=2) + "\n").encode()


def _read(path: Path) -> Register:
    try:
        said = json.loads(path.read_text(encoding="utf-8"))
        return Register(str(said["number"]), tuple(said["kept"]), said["cluster"], said["begun"])
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise UnusableDataFolder(
            f"The file {path}, which says which register this folder is of, cannot be read ({error!r}). "
            "Restore it from the backup of the data folder. Nothing was changed."
        ) from error


def _without_its_file(folder: Path, held: list[str]) -> str:
    return (
        f"The data folder {folder} holds {', '.join(held)}, but not {REGISTER}, which says which register they are of. "
        f"If this is a copy or a backup, it is not whole: bring {REGISTER} from where it came from. "
        "If release 0.1.0 made the folder, this release cannot read its records: go on with release 0.1.0 there, and "
        "set REGISTRY_DATA to another folder for this one. Nothing was changed."
    )


def _missing(folder: Path, names: list[str]) -> str:
    return (
        f"Missing from the data folder {folder}, or cut short: {', '.join(names)}. The register there was begun with "
        f"{'it' if len(names) == 1 else 'them'}, and nothing takes the place of a key or secret. "
        "Restore it from the backup of the data folder, or mount the volume it lies on. Nothing was changed."
    )
