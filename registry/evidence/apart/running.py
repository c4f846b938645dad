"""Starting the child, watching it, taking its answer; and how many there may be at once."""

from __future__ import annotations

import fcntl
import json
import logging
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Generator, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import IO, Any

import psutil
from django.conf import settings
from django.utils.translation import get_language

from registry.database import data_folder
from registry.evidence.apart.__main__ import OUT_OF_MEMORY
from registry.language.refusals import sentence_of

logger = logging.getLogger(__name__)

MEGABYTE = 1024**2
MOST_AT_ONCE = 3
"""Files read and tables weighed at once on one machine: fewer than the threads that answer pages."""
LONGEST_WAIT = 10.0
"""Seconds for a turn; whoever waits holds one of those threads."""
BETWEEN_LOOKS = 0.1
OWNERS = 4096


@dataclass(frozen=True, slots=True)
class Limits:
    """Of one child: ``memory`` and ``answer`` in bytes, ``processor`` and ``clock`` in seconds (``None``: any)."""

    memory: int
    processor: int
    clock: float | None
    answer: int


OF_A_DOCUMENT = Limits(memory=768 * MEGABYTE, processor=10, clock=20, answer=64 * 1024)
OF_AN_UPLOADED_TABLE = Limits(memory=768 * MEGABYTE, processor=15, clock=25, answer=24 * MEGABYTE)
OF_THE_COMMAND = Limits(memory=2048 * MEGABYTE, processor=1800, clock=None, answer=4096 * MEGABYTE)


class Stopped(Exception):
    """The child was stopped, or none could be started; ``rule`` names why, the message is its sentence."""

    def __init__(self, rule: str) -> None:
        self.rule = rule
        self.message = sentence_of(rule)
        super().__init__(self.message)


class RefusedApart(Exception):
    """The child refused the file: ``rule`` and sentence as it gave them."""

    def __init__(self, rule: str, message: str) -> None:
        super().__init__(message)
        self.rule = rule
        self.message = message


def answers(job: str, file: IO[bytes], *, limits: Limits, **options: Any) -> Generator[Any, None, None]:
    """What the child says about the file, line by line, until it is done.

    ``file`` has a descriptor and is read from its start. Raises :class:`RefusedApart`, and
    :class:`Stopped` where a limit is passed. A caller that goes away ends the child.
    """
    asked = {
        "job": job,
        "language": get_language() or "en",
        "memory": limits.memory,
        "processor": limits.processor,
        **options,
    }
    file.seek(0)
    process = subprocess.Popen(
        [sys.executable, "-m", "registry.evidence.apart", json.dumps(asked)],
        cwd=settings.PROJECT,
        env={"PATH": os.environ.get("PATH", os.defpath), "PYTHONUTF8": "1", "MALLOC_ARENA_MAX": "1"},
        stdin=file,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    watch = _Watch(process, limits)
    watch.start()
    try:
        yield from _until_done(process, watch, limits)
    finally:
        watch.over.set()
        process.kill()
        process.wait()
        assert process.stdout is not None
        process.stdout.close()


def _until_done(process: subprocess.Popen[bytes], watch: _Watch, limits: Limits) -> Iterator[Any]:
    assert process.stdout is not None
    taken = 0
    for line in process.stdout:
        taken += len(line)
        if taken > limits.answer:
            raise _too_large()
        said = json.loads(line)
        if not isinstance(said, dict):
            yield said
        elif "refused" in said:
            raise RefusedApart(*said["refused"])
        elif "failed" in said:
            logger.error("Reading a file failed: %s", said["failed"])
            raise _unreadable()
        elif "done" in said:
            return
        else:
            yield said
    raise _why_stopped(process.wait(), watch)


def _why_stopped(status: int, watch: _Watch) -> Stopped:
    if watch.passed == "memory" or status == OUT_OF_MEMORY:
        return _too_large()
    # RLIMIT_CPU ends a process with SIGXCPU, then with SIGKILL.
    if watch.passed == "clock" or status in (-signal.SIGXCPU, -signal.SIGKILL):
        return Stopped("file_is_read_in_time")
    logger.error("Reading a file ended with status %s", status)
    return _unreadable()


def _too_large() -> Stopped:
    return Stopped("file_is_read_in_memory")


def _unreadable() -> Stopped:
    return Stopped("file_can_be_read")


class _Watch(threading.Thread):
    """Looks from outside at what the child really takes, and stops it."""

    def __init__(self, process: subprocess.Popen[bytes], limits: Limits) -> None:
        super().__init__(daemon=True)
        self.process = process
        self.limits = limits
        self.over = threading.Event()
        self.passed = ""

    def run(self) -> None:
        begun = time.monotonic()
        while not self.over.wait(BETWEEN_LOOKS):
            try:
                taken = psutil.Process(self.process.pid).memory_info().rss
            except psutil.Error:
                return
            if taken > self.limits.memory:
                self.passed = "memory"
            elif self.limits.clock is not None and time.monotonic() - begun > self.limits.clock:
                self.passed = "clock"
            if self.passed:
                self.process.kill()
                return


@contextmanager
def turn(owner: str) -> Iterator[None]:
    """One of the machine's :data:`MOST_AT_ONCE` turns for heavy work, and of these one at a time for each ``owner``.

    So nobody waits for another's file but when the machine is busy for several others. Raises
    :class:`Stopped` after :data:`LONGEST_WAIT`: whoever is told can try again, and no page waits.
    """
    folder = data_folder.locate() / "apart"
    folder.mkdir(exist_ok=True, mode=0o700)
    own = int.from_bytes(sha256(owner.encode()).digest()[:4]) % OWNERS
    until = time.monotonic() + LONGEST_WAIT
    with ExitStack() as held:
        if not _locked(held, [folder / f"owner-{own}"], until):
            raise Stopped("one_file_at_a_time")
        if not _locked(held, [folder / f"turn-{each}" for each in range(MOST_AT_ONCE)], until):
            raise Stopped("not_too_many_files_at_once")
        yield


def _locked(held: ExitStack, among: list[Path], until: float) -> bool:
    """Whether one of the files could be locked; the lock goes with the stack, or with this process."""
    while True:
        for path in among:
            file = path.open("ab")
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                file.close()
                continue
            held.enter_context(file)
            return True
        if time.monotonic() > until:
            return False
        time.sleep(0.05)
