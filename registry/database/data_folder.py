"""The folder that holds this installation's cluster, secrets and locks."""

import os
import secrets
import stat
from pathlib import Path

PROJECT = Path(__file__).resolve().parent.parent.parent


class UnusableDataFolder(RuntimeError):
    pass


def locate() -> Path:
    """The data folder, made if it is not there yet."""
    folder = Path(os.environ.get("REGISTRY_DATA") or PROJECT / ".registry-data").resolve()
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    if folder.stat().st_uid != os.geteuid():
        raise UnusableDataFolder(
            f"The data folder {folder} belongs to another user; "
            "run as that user or set REGISTRY_DATA to a folder of your own."
        )
    if os.geteuid() == 0:
        # The database server runs under an account of its own, which must pass through.
        folder.chmod(stat.S_IMODE(folder.stat().st_mode) | stat.S_IXGRP | stat.S_IXOTH)
    return folder


def secret(name: str) -> str:
    """A random secret that stays the same for this data folder."""
    path = locate() / f"{name}.secret"
    if not path.exists():
        write_once(path, secrets.token_urlsafe(48).encode())
    return path.read_text()


def write_once(path: Path, content: bytes) -> None:
    """Write a file for its owner's eyes alone, unless it is there already."""
    draft = path.with_name(f"{path.name}.{os.getpid()}.{secrets.token_hex(4)}")
    with open(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(content)
    try:
        # Linking fails if another process was first: then its content is the one.
        os.link(draft, path)
    except FileExistsError:
        pass
    finally:
        draft.unlink()
