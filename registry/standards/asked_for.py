"""The topics of instruction, schemes of certificates and duties of appointments that role standards ask for.

Whoever records a course, a certificate or an appointment chooses from these: what is written
another way would be compared with the standards' own names, and easily count for nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date

from registry.engine.harmless import name_key
from registry.engine.requirements.appointment import Appointed
from registry.engine.requirements.certificate import Certified
from registry.engine.requirements.instruction import Instructed
from registry.engine.requirements.leaf import of_kind
from registry.engine.standard import RoleStandard
from registry.engine.terms import in_english
from registry.language.words import in_words
from registry.standards.queries import all_in_force


@dataclass(frozen=True, slots=True)
class AskedFor:
    """A name that standards ask for, as they store it, and the roles that need it."""

    name: str
    roles: tuple[str, ...]


NAMES: dict[str, Callable[[RoleStandard], Iterable[str]]] = {
    "topics": lambda role: [leaf.topic for leaf in of_kind(Instructed, role.leaves())],
    "schemes": lambda role: [scheme for leaf in of_kind(Certified, role.leaves()) for scheme in leaf.schemes],
    "duties": lambda role: [leaf.duty for leaf in of_kind(Appointed, role.leaves())],
}
"""The names of one kind that a role standard asks for."""


def asked_for(kind: str, *, on: date) -> list[AskedFor]:
    """What the standards in force on a day ask for, by the names people say; one statement.

    Args:
        kind: ``topics``, ``schemes`` or ``duties``.
    """
    roles: dict[str, list[str]] = {}
    for standard in all_in_force(on):
        for role in standard.roles:
            for name in NAMES[kind](role):
                if role.role not in roles.setdefault(name, []):
                    roles[name].append(role.role)
    return sorted((AskedFor(name, tuple(found)) for name, found in roles.items()), key=lambda each: in_words(each.name))


def as_asked_for(typed: str, among: Iterable[str]) -> str:
    """The name among those that is meant by what was typed; else what was typed, with single spaces.

    Case, spaces and punctuation make no difference, and both the language in force and English are understood.
    """
    wanted = name_key(typed)
    for name in among:
        if wanted in (name_key(name), name_key(in_words(name)), name_key(in_english(name))):
            return name
    return " ".join(typed.split())
