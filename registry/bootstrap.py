"""Bring a machine with nothing but Python to the point where the registry runs.

Only the standard library may be imported here: nothing else is installed yet.
"""

import ctypes
import fcntl
import hashlib
import importlib.util
import os
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import NoReturn

PROJECT = Path(__file__).resolve().parent.parent
# What runs the registry, and the same with what tests it.
LOCK_FILE = PROJECT / "requirements.lock"
LOCK_FILE_FOR_TESTS = PROJECT / "requirements-dev.lock"
# These need the tools, such as Babel, which finds the messages in the sources.
FOR_DEVELOPERS = ("test", "bench", "catalogue", "pictures", "schema")
OWN_ENVIRONMENT = PROJECT / ".venv"

DEBIAN_DOCUMENT_LIBRARIES = ("libpango-1.0-0", "libpangoft2-1.0-0", "libharfbuzz-subset0")
DEBIAN_FONTS = "fonts-dejavu-core"
DOCUMENT_LIBRARIES = {
    "linux": ("libpango-1.0.so.0", "libpangoft2-1.0.so.0", "libharfbuzz-subset.so.0"),
    "darwin": ("libpango-1.0.dylib", "libpangoft2-1.0.dylib", "libharfbuzz-subset.dylib"),
}
HOMEBREW_LIBRARIES = ("/opt/homebrew/lib", "/usr/local/lib")
FONT_FOLDERS = ("/usr/share/fonts", "/usr/local/share/fonts", "~/.fonts", "~/.local/share/fonts")
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
# Whoever begins a register or serves one prints documents there.
PRINTING = ("demo", "prepare", "serve", "test")
SERVED_ON_LOOPBACK = ("demo", "pictures", "runserver", "test")


def prepare(arguments: Sequence[str]) -> None:
    """Return in an environment that holds the locked requirements of the command; `test` never returns."""
    command = arguments[0] if arguments else "help"
    _find_homebrew_libraries()
    if not _inside_virtual_environment():
        _enter_own_environment(arguments)
    _install_requirements(for_developers=command in FOR_DEVELOPERS)
    if command in PRINTING:
        _install_document_libraries()
    if command in SERVED_ON_LOOPBACK:
        os.environ.setdefault("REGISTRY_PLAIN_HTTP_ON_LOOPBACK", "1")
    if command == "test" and not {"-h", "--help"} & set(arguments[1:]):
        _install_browser()
        _run_tests(arguments[1:])
    if command == "test":
        print("usage: manage.py test [arguments of pytest]\n\nSet up everything and run all tests.")
        sys.exit(0)


def _inside_virtual_environment() -> bool:
    return sys.prefix != sys.base_prefix


def _enter_own_environment(arguments: Sequence[str]) -> NoReturn:
    python = OWN_ENVIRONMENT / "bin" / "python"
    if not _works(python):
        if importlib.util.find_spec("ensurepip") is None:
            _need(["python3-venv"], "Python's venv module with ensurepip")
        _say("Creating the virtual environment .venv")
        _run([sys.executable, "-m", "venv", "--clear", str(OWN_ENVIRONMENT)])
    sys.stdout.flush()
    os.execv(python, [str(python), str(PROJECT / "manage.py"), *arguments])


def _works(python: Path) -> bool:
    """An environment made by a Python that is gone, or half made, does not count."""
    try:
        found = subprocess.run([str(python), "-c", "import pip"], capture_output=True, check=False)
    except OSError:
        return False
    return found.returncode == 0


def _install_requirements(*, for_developers: bool) -> None:
    lock_file = LOCK_FILE_FOR_TESTS if for_developers else LOCK_FILE
    stamp = Path(sys.prefix) / "registry-requirements.sha256"
    wanted = _digest(lock_file)
    if wanted in _text(stamp).split():
        return
    with open(Path(sys.prefix) / "registry-requirements.installing", "w") as turn:
        # Two commands started together must not install over each other.
        fcntl.flock(turn, fcntl.LOCK_EX)
        if wanted in _text(stamp).split():
            return
        _say("Installing the locked requirements (the first time takes a minute or two)")
        if importlib.util.find_spec("pip") is None:
            _run([sys.executable, "-m", "ensurepip", "--upgrade"])
        pip = [sys.executable, "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
        _run([*pip, "--require-hashes", "-r", str(lock_file)])
        # What tests need holds what running needs: an environment for both is installed once.
        held = [LOCK_FILE, LOCK_FILE_FOR_TESTS] if for_developers else [LOCK_FILE]
        stamp.write_text("\n".join(_digest(each) for each in held))


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _text(path: Path) -> str:
    return path.read_text() if path.exists() else ""


def _install_document_libraries() -> None:
    """PDF documents are laid out by Pango, which no Python package brings along."""
    missing: list[str] = []
    if not all(_loads(name) for name in DOCUMENT_LIBRARIES.get(sys.platform, ())):
        missing.extend(DEBIAN_DOCUMENT_LIBRARIES)
    if sys.platform == "linux" and not _any_font():
        missing.append(DEBIAN_FONTS)
    if missing:
        _need(missing, "Pango, HarfBuzz and a font (for PDF documents)", homebrew="pango")


def _loads(library: str) -> bool:
    places = [""] + [f"{folder}/" for folder in HOMEBREW_LIBRARIES if sys.platform == "darwin"]
    for place in places:
        try:
            ctypes.CDLL(place + library)
        except OSError:
            continue
        return True
    return False


def _any_font() -> bool:
    folders = (Path(folder).expanduser() for folder in FONT_FOLDERS)
    return any(file.suffix in (".ttf", ".otf", ".ttc") for folder in folders for file in folder.rglob("*"))


def _find_homebrew_libraries() -> None:
    """The loader of macOS reads this variable only when a process starts."""
    if sys.platform != "darwin" or "DYLD_FALLBACK_LIBRARY_PATH" in os.environ:
        return
    os.environ["DYLD_FALLBACK_LIBRARY_PATH"] = ":".join(HOMEBREW_LIBRARIES)
    sys.stdout.flush()
    os.execv(sys.executable, [sys.executable, *sys.argv])


def _install_browser() -> None:
    """Without a browser its tests are skipped; that is worth saying, not worth failing."""
    if any(shutil.which(name) for name in BROWSERS):
        return
    if _may_use_apt() and _apt(["chromium"]):
        return
    hint = ": sudo apt-get install chromium" if shutil.which("apt-get") else "."
    _say(f"No Chromium found, so the browser tests will be skipped{hint}")


def _run_tests(arguments: Sequence[str]) -> NoReturn:
    os.chdir(PROJECT)
    sys.stdout.flush()
    # The whole suite shares two cores; a few tests by name start sooner in one process.
    arguments = arguments or ("-n", "2", "--dist", "worksteal")
    os.execv(sys.executable, [sys.executable, "-m", "pytest", *arguments])


def _need(debian: Sequence[str], what: str, *, homebrew: str = "python") -> None:
    """Have system packages installed, or say the one line to type and stop."""
    if _may_use_apt() and _apt(debian):
        return
    if sys.platform == "darwin":
        sys.exit(f"brew install {homebrew}")
    if shutil.which("apt-get"):
        names = " ".join(debian)
        sudo = "" if os.geteuid() == 0 else "sudo "
        sys.exit(f"{sudo}apt-get update && {sudo}apt-get install --yes {names}")
    sys.exit(f"Please install {what} with this system's package manager, then start again.")


def _may_use_apt() -> bool:
    return os.geteuid() == 0 and shutil.which("apt-get") is not None


def _apt(packages: Sequence[str]) -> bool:
    _say(f"Installing {' '.join(packages)}")
    quietly = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    install = ["apt-get", "install", "--yes", "--no-install-recommends", *packages]
    for step in (["apt-get", "update"], install):
        done = subprocess.run(step, env=quietly, capture_output=True, text=True, check=False)
    if done.returncode:
        print(done.stderr.strip(), file=sys.stderr)
    return done.returncode == 0


def _run(command: Sequence[str]) -> None:
    done = subprocess.run(command, check=False)
    if done.returncode:
        sys.exit(f"Setting up stopped: this failed with status {done.returncode}: {' '.join(command)}")


def _say(sentence: str) -> None:
    print(sentence, file=sys.stderr, flush=True)
