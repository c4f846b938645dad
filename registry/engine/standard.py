"""Role standards: the versioned trees of requirements a decision is made by.

:func:`registry.engine.files.standard_file.parse_standard` reads them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property

from registry.engine.requirements.leaf import Leaf
from registry.engine.terms import in_english
from registry.engine.tree import Node, leaves_of


@dataclass(frozen=True, slots=True)
class Source:
    """Where a requirement comes from.

    ``kind`` is ``regulation``, ``standard``, ``maker``, ``common_practice``
    (no source) or ``employer_setting`` (no published figure). ``note`` says
    how sure the wording is ("from memory").
    """

    id: str
    title: str
    kind: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Setting:
    """A figure that no publication gives: the employer sets it, never below ``floor`` minutes."""

    id: str
    sentence: str
    minutes: int
    floor: int


@dataclass(frozen=True, slots=True)
class RoleStandard:
    """What one role asks for in some operations."""

    role: str
    operations: frozenset[str]
    requirement: Node

    def leaves(self) -> list[Leaf]:
        """Every leaf of the tree, in the order of the file."""
        return leaves_of(self.requirement)


@dataclass(frozen=True, slots=True)
class Provenance:
    """Which provenance counts in full, which in part, and the part's share of a total."""

    in_full: frozenset[str]
    in_part: frozenset[str]
    part_at_most_percent: int
    countersign_within_days: int


@dataclass(frozen=True, slots=True)
class Plausibility:
    """How doubtful entries count: ``in_full``, ``in_part`` or ``nothing``."""

    crane_not_on_site: str
    recorded_late: str
    recorded_late_after_days: int


@dataclass(frozen=True, slots=True)
class CrewRules:
    """Rules over a whole crew. Minutes and ratios; ``None`` where the standard asks nothing."""

    trainees_per_erector: int
    longest_day: int
    overseeing_engineer: bool
    source: Source
    hours_source: Source


@dataclass(frozen=True)
class Standard:
    """One version of a role standard set for a jurisdiction."""

    id: str
    version: int
    title: str
    jurisdiction: str
    in_force_from: date
    in_force_until: date | None
    sources: Mapping[str, Source]
    settings: Mapping[str, Setting]
    role_titles: Mapping[str, str]
    countersigners: tuple[str, ...]
    assessors: tuple[str, ...]
    provenance: Provenance
    plausibility: Plausibility
    crew: CrewRules
    roles: tuple[RoleStandard, ...]
    figures: Mapping[str, int] = field(default_factory=dict)

    @cached_property
    def by_role_and_operation(self) -> dict[tuple[str, str], RoleStandard]:
        """The role standard for each role and operation."""
        return {(each.role, operation): each for each in self.roles for operation in each.operations}

    def title_of(self, role: str) -> str:
        """The jurisdiction's name for a role, else the glossary's."""
        return self.role_titles.get(role, in_english(role))
