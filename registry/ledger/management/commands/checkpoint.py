"""``manage.py checkpoint``: sign the log as it is now, once or again and again."""

from __future__ import annotations

import os
import signal
import sys
import time
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import Error, connection
from django.utils import timezone

from registry.database.server import DatabaseUnavailable
from registry.ledger import here
from registry.ledger.memory import CannotSign
from registry.ledger.models import Checkpoint

CANNOT = 2
MOST_BETWEEN_ATTEMPTS = 30.0
"""Seconds until the database is asked again after it did not answer."""


class Command(BaseCommand):
    help = "Sign a checkpoint of the log and print it. Exit status: 0 signed, 2 it could not be."
    # The checks import every page, which takes longer than signing.
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--every", type=_minutes, metavar="MINUTES", help="go on until interrupted, a line for each checkpoint"
        )
        parser.add_argument(
            "--with-parent", action="store_true", help="with --every: stop as well when the starting process ends"
        )

    def handle(self, *args: Any, every: float | None, with_parent: bool, **options: Any) -> None:
        if every is None:
            self.stdout.write(self._signed().note, ending="")
            return
        self._parent = os.getppid() if with_parent else None
        signal.signal(signal.SIGTERM, _interrupt)
        try:
            self._go_on(every * 60)
        except KeyboardInterrupt:
            self._line("Stopped.")

    def _signed(self) -> Checkpoint:
        try:
            return here.sign(at=timezone.now())
        except CannotSign as error:
            raise CommandError(str(error), returncode=CANNOT) from error
        except (Error, DatabaseUnavailable) as error:
            raise CommandError(f"The database did not answer: {error}", returncode=CANNOT) from error

    def _go_on(self, seconds: float) -> None:
        known, away = None, False
        while not self._orphaned():
            due = time.monotonic() + seconds
            try:
                made = here.sign(at=timezone.now())
            except CannotSign as error:
                raise CommandError(str(error), returncode=CANNOT) from error
            except (Error, DatabaseUnavailable) as error:
                away = True
                due = time.monotonic() + min(seconds, MOST_BETWEEN_ATTEMPTS)
                self._line(f"The database does not answer, trying again: {str(error).strip().splitlines()[0]}")
            else:
                if away:
                    self._line("The database answers again.")
                self._line(_told(made, known))
                known, away = made.size, False
            # A schedule holds no connection open between its times.
            connection.close()
            self._wait_until(due)

    def _wait_until(self, due: float) -> None:
        while (left := due - time.monotonic()) > 0 and not self._orphaned():
            time.sleep(min(1.0, left))

    def _orphaned(self) -> bool:
        return self._parent is not None and os.getppid() != self._parent

    def _line(self, text: str) -> None:
        self.stdout.write(f"{timezone.now():%Y-%m-%dT%H:%M:%SZ} {text}")
        self.stdout.flush()


def _told(made: Checkpoint, known: int | None) -> str:
    if made.size == known:
        return f"nothing new since the checkpoint of {made.size} leaves"
    return f"checkpoint of {made.size} leaves, root {bytes(made.root).hex()}"


def _minutes(given: str) -> float:
    minutes = float(given)
    if not 0 < minutes <= 7 * 24 * 60:
        raise ValueError("more than 0 minutes, a week at most")
    return minutes


def _interrupt(number: int, frame: Any) -> None:
    # The first request to stop is enough: no second one may interrupt the leaving.
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    sys.stdout.flush()
    raise KeyboardInterrupt
