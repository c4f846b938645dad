"""Processes of their own, each with its own environment, without waiting for libraries to be imported every time.

Started as a program, it has imported what the registry's sources import from elsewhere, nothing of the registry and
no settings, and then forks a child for each process asked for: that is as good as a new interpreter, in a tenth of
the time.
"""

from __future__ import annotations

import json
import os
import runpy
import subprocess
import sys
import traceback
from collections.abc import Sequence
from importlib import import_module
from pathlib import Path
from typing import Any, NoReturn

PROJECT = Path(__file__).resolve().parent.parent
LIBRARIES = (
    "calendar",
    "cryptography.fernet",
    "django.contrib.staticfiles.finders",
    "django.core.management.commands.migrate",
    "django.core.management.commands.runserver",
    "django.db.backends.postgresql.base",
    "django.db.migrations.executor",
    "django.forms",
    "django.test",
    "django.views.generic",
    "gunicorn.workers.gthread",
    "jsonschema",
    "openpyxl",
    "pikepdf",
    "psutil",
    "psycopg",
    "pyhanko.sign.signers",
    "structlog",
    "weasyprint",
    "yaml",
)


class Forks:
    """The program, while it is used; one process at a time."""

    def __init__(self) -> None:
        self.parent = subprocess.Popen(
            [sys.executable, str(Path(__file__))],
            cwd=PROJECT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def run(
        self, command: Sequence[str], *, environment: dict[str, str], written: Path
    ) -> subprocess.CompletedProcess[str]:
        """What ``python command…`` would do; ``written`` is a folder for what it says."""
        assert self.parent.stdin is not None
        assert self.parent.stdout is not None
        asked = {"command": list(command), "environment": environment, "written": str(written)}
        self.parent.stdin.write(json.dumps(asked) + "\n")
        self.parent.stdin.flush()
        status = int(self.parent.stdout.readline())
        said = [(written / name).read_text(encoding="utf-8") for name in ("out", "err")]
        return subprocess.CompletedProcess(list(command), status, *said)

    def end(self) -> None:
        """No more processes are asked for."""
        self.parent.communicate()


def main() -> None:
    for name in LIBRARIES:
        import_module(name)
    for line in sys.stdin:
        asked = json.loads(line)
        child = os.fork()
        if child == 0:
            _become(**asked)
        print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)


def _become(*, command: list[str], environment: dict[str, str], written: str) -> NoReturn:
    streams = [
        (os.devnull, os.O_RDONLY),
        *((f"{written}/{name}", os.O_WRONLY | os.O_CREAT | os.O_TRUNC) for name in ("out", "err")),
    ]
    for number, (path, how) in enumerate(streams):
        os.dup2(os.open(path, how, 0o600), number)
    os.environ.clear()
    os.environ.update(environment)
    sys.path[0] = str(PROJECT)
    status = 1
    try:
        if command[0] == "-c":
            sys.argv = command[:1] + command[2:]
            exec(command[1], {"__name__": "__main__"})
        else:
            sys.argv = list(command)
            runpy.run_path(command[0], run_name="__main__")
        status = 0
    except SystemExit as leaving:
        status = _status(leaving.code)
    except BaseException:
        traceback.print_exc()
    finally:
        # As an interpreter ends, but for handlers of the parent's: what was begun here is ended here.
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(status)


def _status(code: Any) -> int:
    if isinstance(code, str):
        print(code, file=sys.stderr)
        return 1
    return code or 0


if __name__ == "__main__":
    main()
