"""What the database refuses, and what services refuse, as problems that people read.

Their sentences stand in :mod:`registry.language.refusals`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace

from django.db import DatabaseError

from registry.language.plain_text import code_point
from registry.language.refusals import SENTENCES, sentence_of
from registry.language.words import in_words


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong: the field, the rule by name, and a sentence in the language in force when it was found."""

    field: str
    rule: str
    message: str


class RecordRefused(Exception):
    """A record breaks rules; ``problems`` says which."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__(" ".join(each.message for each in problems))
        self.problems = list(problems)


HIDDEN = "text_has_no_hidden_characters"
OF_EVERY_TABLE = (
    (re.compile(r"\w+_withdrawal_supersedes_a_(record|job)"), "a_withdrawal_says_what_it_withdraws"),
    (re.compile(r"\w+_supersedes_id_(key|uniq)"), "a_record_is_corrected_once"),
)
"""Names of constraints that every table of records has, and the rule that each of them is."""


def constraint_of(error: DatabaseError) -> str | None:
    """The name of the constraint or rule that refused, if the database gave one."""
    diagnostics = getattr(error.__cause__, "diag", None)
    return getattr(diagnostics, "constraint_name", None)


def sqlstate_of(error: DatabaseError) -> str | None:
    """The database's five-character error code."""
    return getattr(error.__cause__, "sqlstate", None)


def broken(rule: str, field: str | None = None, /, **values: object) -> Problem:
    """The rule as broken, in its one sentence filled with ``values``; ``field`` where it is not the rule's own."""
    return Problem(SENTENCES[rule][0] if field is None else field, rule, sentence_of(rule, **values))


def within(problem: Problem, part: str) -> Problem:
    """The problem with its field named within ``part``, such as ``rows[3].end``."""
    return replace(problem, field=f"{part}.{problem.field}")


def hidden_in(field: str, character: str) -> Problem:
    """That a text of the field holds a character that cannot be seen, or that changes how others are read."""
    named = in_words(field)
    return broken(HIDDEN, field, field=named[:1].upper() + named[1:], character=code_point(character))


def translate(error: DatabaseError) -> Exception:
    """The refusal in words, or the error itself where no rule of ours is behind it."""
    name = constraint_of(error)
    if name is None:
        return error
    if name == HIDDEN:
        # The trigger says which column, and as detail the character by its number.
        diagnostics = error.__cause__.diag  # type: ignore[union-attr]
        return RecordRefused([hidden_in(diagnostics.column_name, chr(int(diagnostics.message_detail)))])
    if name in SENTENCES:
        return RecordRefused([broken(name)])
    for names, rule in OF_EVERY_TABLE:
        if names.fullmatch(name):
            return RecordRefused([replace(broken(rule), rule=name)])
    return error


@contextmanager
def refusals() -> Iterator[None]:
    """Turn a constraint's refusal within the block into :class:`RecordRefused`."""
    try:
        yield
    except DatabaseError as error:
        translated = translate(error)
        if translated is error:
            raise
        raise translated from error
