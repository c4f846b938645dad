"""Acts that are repeated when the database broke a tie between two of them.

Two transactions that lock the same rows in another order wait for each other for good. PostgreSQL ends one of them
(a deadlock), and nothing of it is left; whoever recorded a revocation must not have lost it by that. So each act that
records is a function decorated with :func:`repeating`, which carries it out again from the start.

What makes that safe:

* The act is one transaction, or none at all where it is one statement; what failed left nothing behind.
* It has no effect outside the database. What follows a record (a mail, an answer) follows the act, or is handed to
  ``transaction.on_commit``.
* Within a transaction that is open already nothing is repeated: it would hold its locks. The outermost act is.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Collection
from functools import wraps
from typing import ParamSpec, TypeVar

from django.db import DatabaseError, connections

from registry.database.errors import Problem, RecordRefused, broken, sqlstate_of

TRIES = 5
PATIENCE = 10.0
"""Seconds after which nothing is tried again: somebody waits for the answer."""
PAUSE = 0.02
"""Seconds before the first repetition, on average; twice as long before each further one."""

# PostgreSQL's manual, appendix A: deadlock_detected, serialization_failure, lock_not_available, query_canceled.
DEADLOCK, SERIALIZATION_FAILURE, LOCK_NOT_AVAILABLE, QUERY_CANCELED = "40P01", "40001", "55P03", "57014"
CROSSED = frozenset({DEADLOCK, SERIALIZATION_FAILURE})
PASSING = CROSSED | {LOCK_NOT_AVAILABLE}

Given = ParamSpec("Given")
Result = TypeVar("Result")


def repeating(act: Callable[Given, Result]) -> Callable[Given, Result]:
    """Decorate an act that records: it is carried out again when another one crossed it.

    Raises :class:`RecordRefused` where others keep crossing it: nothing was recorded, and the person may try again.
    """

    @wraps(act)
    def repeated_act(*args: Given.args, **kwargs: Given.kwargs) -> Result:
        return repeated(lambda: act(*args, **kwargs))

    repeated_act.repeats = True  # type: ignore[attr-defined]
    return repeated_act


def repeated(
    act: Callable[[], Result],
    *,
    stale: Callable[[DatabaseError], bool] = lambda error: False,
    passing: Collection[str] = PASSING,
    patience: float = PATIENCE,
) -> Result:
    """Carry out an act, and again where it was crossed, or failed on what ``stale`` says another reading would mend.

    ``passing`` are the database's codes for having been crossed; after ``patience`` seconds nothing is tried again.
    """
    outermost = not within_transaction()
    started = time.monotonic()
    for number in range(1, TRIES + 1):
        try:
            return act()
        except DatabaseError as error:
            crossed = outermost and sqlstate_of(error) in passing
            if not crossed and not stale(error):
                raise
            if number == TRIES or time.monotonic() - started > patience:
                if crossed:
                    raise RecordRefused([being_changed()]) from error
                raise
        if crossed:
            # Two acts that crossed each other must not do so again in step.
            time.sleep(random.uniform(0, 2**number * PAUSE))  # noqa: S311 (spreads, hides nothing)
    raise AssertionError("the loop returns or raises")


def being_changed(field: str = "") -> Problem:
    """That others are changing the same records just now."""
    return broken("records_are_not_being_changed", field)


def within_transaction() -> bool:
    """Whether a transaction is open on any connection of this thread."""
    return any(each.in_atomic_block for each in connections.all(initialized_only=True))
