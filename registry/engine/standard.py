"""Role standards: the versioned trees of requirements a decision is made by.

:func:`parse_standard` turns the plain data of a standard file (YAML or JSON)
into a :class:`Standard`, or raises :class:`BadInput` with the JSON path of what
is wrong. A standard that asks for nothing is invalid, never permissive.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

from jsonschema import Draft202012Validator, validators
from jsonschema.exceptions import best_match
from referencing import Registry
from referencing.jsonschema import DRAFT202012

from registry.engine.evidence import OPERATIONS
from registry.engine.terms import in_english

DEEPEST_LEVEL = 32
MOST_VALUES = 500_000
SAME = "same"


class BadInput(ValueError):
    """Input the engine cannot work on; ``path`` is the JSON path of what is wrong."""

    def __init__(self, path: str, message: str) -> None:
        super().__init__(f"{path}: {message}")
        self.path = path
        self.message = message


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaf:
    """One requirement. ``cost`` is the declared cost of obtaining it, for the remedy."""

    key: str
    sentence: str
    source: Source
    cost: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Hours(Leaf):
    """At least ``minimum`` minutes of hands-on hours.

    ``operations`` empty means the operation in question. ``within_months``
    looks back from every instant of the window; hours before a pause longer
    than ``longest_gap_months`` no longer count; ``day_cap`` minutes of one
    local day count at most. ``after`` names a leaf that must have been met
    before the work began.
    """

    minimum: int
    scope: str
    operations: frozenset[str] = frozenset()
    capacity: str | None = None
    after: str | None = None
    within_months: int | None = None
    longest_gap_months: int | None = None
    day_cap: int = 24 * 60
    set_by_employer: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticalAssessment(Leaf):
    """A passed practical assessment that no later one has overturned."""

    scope: str
    role: str | None = None
    operations: frozenset[str] = frozenset()
    within_months: int | None = None
    assessor: str = "any"
    independent: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Certified(Leaf):
    """A certificate in force of one of ``schemes`` whose scope has all of ``scope``."""

    schemes: tuple[str, ...]
    scope: frozenset[str] = frozenset()
    covers: str = "any"


@dataclass(frozen=True, slots=True, kw_only=True)
class Instructed(Leaf):
    """Completed instruction on ``topic``."""

    topic: str
    providers: frozenset[str] = frozenset()
    scope: str = "any"
    within_months: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Appointed(Leaf):
    """A written appointment to ``duty`` that covers the whole window."""

    duty: str
    kinds: frozenset[str]
    stop_work_authority: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedLanguage(Leaf):
    """One of ``languages``; empty means the site's working language."""

    languages: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class NoStandDown(Leaf):
    """No stand-down for the role and model is in force."""


@dataclass(frozen=True, slots=True)
class Group:
    """``all_of``, ``any_of`` or ``at_least`` ``count`` of ``children``."""

    kind: str
    count: int
    children: tuple[Node, ...]


Node = Group | Leaf


@dataclass(frozen=True, slots=True)
class RoleStandard:
    """What one role asks for in some operations."""

    role: str
    operations: frozenset[str]
    requirement: Node

    def leaves(self) -> Iterator[Leaf]:
        """Every leaf of the tree, in the order of the file."""
        pending: list[Node] = [self.requirement]
        while pending:
            node = pending.pop()
            if isinstance(node, Group):
                pending.extend(reversed(node.children))
            else:
                yield node


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


# JSON Schema calls 60.0 an integer; the engine counts in whole numbers only.
_extend: Any = validators.extend
_Validator = _extend(
    Draft202012Validator,
    type_checker=Draft202012Validator.TYPE_CHECKER.redefine(
        "integer", lambda _, value: isinstance(value, int) and not isinstance(value, bool)
    ),
)


@lru_cache
def validator(name: str) -> Any:
    """The JSON Schema validator for ``standard.schema.json`` or ``case.schema.json``."""
    folder = Path(__file__).parent / "files"
    schemas = {
        each: json.loads((folder / each).read_text(encoding="utf-8"))
        for each in ("standard.schema.json", "case.schema.json")
    }
    for schema in schemas.values():
        # A dialect of its own would bring back the library's validator for what is referred to.
        del schema["$schema"]
    resources = Registry().with_contents(schemas.items(), default_specification=DRAFT202012)
    return _Validator(
        schemas[name],
        registry=resources,
        format_checker=Draft202012Validator.FORMAT_CHECKER,
    )


def json_path(parts: Iterator[Any] | list[Any]) -> str:
    """``$.people[3].name`` from path elements."""
    return "$" + "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in parts)


def check_depth(data: Any, root: str = "$") -> None:
    """Refuse data nested deeper than :data:`DEEPEST_LEVEL` or that contains itself.

    Runs before anything recursive touches the data.
    """
    pending: list[tuple[Any, str, int, tuple[int, ...]]] = [(data, root, 0, ())]
    seen = 0
    while pending:
        value, path, level, above = pending.pop()
        seen += 1
        if seen > MOST_VALUES:
            raise BadInput(root, f"more than {MOST_VALUES} values")
        if not isinstance(value, dict | list):
            continue
        if id(value) in above:
            raise BadInput(path, "refers to itself")
        if level > DEEPEST_LEVEL:
            raise BadInput(path, f"nested deeper than {DEEPEST_LEVEL} levels")
        inside = (*above, id(value))
        if isinstance(value, dict):
            pending += [(each, f"{path}.{key}", level + 1, inside) for key, each in value.items()]
        else:
            pending += [(each, f"{path}[{index}]", level + 1, inside) for index, each in enumerate(value)]


def check_text(data: Any) -> None:
    """Refuse text that is not Unicode: half of a surrogate pair, which nothing can print."""
    try:
        json.dumps(data, ensure_ascii=False, default=str).encode()
    except UnicodeEncodeError as error:
        raise BadInput("$", f"{error.object[error.start]!r} is not a character") from None


def check_schema(data: Any, name: str) -> None:
    """Raise :class:`BadInput` for the most telling violation of the schema ``name``."""
    error = best_match(validator(name).iter_errors(data))
    if error is not None:
        raise BadInput(json_path(list(error.absolute_path)), error.message[:300])


def parse_standard(data: Any, *, figures: Mapping[str, int] | None = None, path: str = "$") -> Standard:
    """A :class:`Standard` from the plain data of a standard file.

    ``figures`` are an employer's own minutes for the standard's settings; a
    figure below the setting's floor or for an unknown setting is refused.
    Raises :class:`BadInput`.
    """
    check_depth(data, path)
    if path == "$":
        check_schema(data, "standard.schema.json")
    return _Parser(data, figures or {}, path).standard()


class _Parser:
    def __init__(self, data: dict[str, Any], figures: Mapping[str, int], path: str) -> None:
        self.data = data
        self.path = path
        self.figures = figures
        self.sources = {
            key: Source(key, each["title"], each["kind"], each.get("note", "")) for key, each in data["sources"].items()
        }
        self.settings = {
            key: Setting(key, each["sentence"], each["minutes"], each["at_least_minutes"])
            for key, each in data.get("settings", {}).items()
        }
        for key, minutes in figures.items():
            if key not in self.settings:
                raise BadInput(f"{path}.settings", f"the standard has no setting {key!r}")
            if minutes < self.settings[key].floor:
                raise BadInput(
                    f"{path}.settings.{key}",
                    f"{minutes} minutes is below the standard's floor of {self.settings[key].floor} minutes",
                )
        for key, each in self.settings.items():
            if each.minutes < each.floor:
                raise BadInput(f"{path}.settings.{key}.minutes", "is below its own floor")

    def standard(self) -> Standard:
        data, path = self.data, self.path
        in_force_from = self.day(data["in_force"]["from"], f"{path}.in_force.from")
        until = data["in_force"].get("until")
        in_force_until = until and self.day(until, f"{path}.in_force.until")
        if in_force_until and in_force_until < in_force_from:
            raise BadInput(f"{path}.in_force.until", "is before in_force.from")
        roles = tuple(self.role(each, f"{path}.roles[{index}]") for index, each in enumerate(data["roles"]))
        self.check_roles(roles)
        provenance, doubtful, crew = data["provenance"], data["plausibility"], data["crew"]
        both = set(provenance["counts_in_full"]) & set(provenance.get("counts_in_part", []))
        if both:
            raise BadInput(f"{path}.provenance.counts_in_part", f"{sorted(both)} also counts in full")
        return Standard(
            id=data["standard"],
            version=data["version"],
            title=data["title"],
            jurisdiction=data["jurisdiction"],
            in_force_from=in_force_from,
            in_force_until=in_force_until,
            sources=self.sources,
            settings=self.settings,
            role_titles=data.get("role_titles", {}),
            countersigners=tuple(data["sign_off"]["countersigners"]),
            assessors=tuple(data["sign_off"]["assessors"]),
            provenance=Provenance(
                frozenset(provenance["counts_in_full"]),
                frozenset(provenance.get("counts_in_part", [])),
                provenance.get("part_at_most_percent", 0),
                provenance["countersign_within_days"],
            ),
            plausibility=Plausibility(
                doubtful["crane_not_on_site"],
                doubtful["recorded_late"],
                doubtful["recorded_late_after_days"],
            ),
            crew=CrewRules(
                crew["trainees_per_erector"],
                crew["longest_day_minutes"],
                crew.get("overseeing_engineer", False),
                self.source(crew["source"], f"{path}.crew.source"),
                self.source(crew["longest_day_source"], f"{path}.crew.longest_day_source"),
            ),
            roles=roles,
            figures=dict(self.figures),
        )

    def check_roles(self, roles: tuple[RoleStandard, ...]) -> None:
        seen: set[tuple[str, str]] = set()
        for index, role in enumerate(roles):
            for operation in sorted(role.operations):
                if (role.role, operation) in seen:
                    raise BadInput(
                        f"{self.path}.roles[{index}]",
                        f"{role.role} in {operation} already has a standard",
                    )
                seen.add((role.role, operation))
        for kind in ("countersigners", "assessors"):
            for role_name in self.data["sign_off"][kind]:
                if role_name not in {each.role for each in roles}:
                    raise BadInput(f"{self.path}.sign_off.{kind}", f"no standard for the role {role_name!r}")
        self.check_that_signers_can_be_reached(roles)

    def check_that_signers_can_be_reached(self, roles: tuple[RoleStandard, ...]) -> None:
        """Refuse a role that signs and that nobody can ever fill: each signature on the way asks for another."""
        reached: set[tuple[str, str]] = set()
        pending = {(role.role, operation): role for role in roles for operation in role.operations}
        while True:
            found = {
                each for each, role in pending.items() if self.can_be_met(role.requirement, role, each[1], reached)
            }
            if not found:
                break
            reached |= found
            pending = {each: role for each, role in pending.items() if each not in found}
        for kind in ("countersigners", "assessors"):
            for index, role_name in enumerate(self.data["sign_off"][kind]):
                if role_name not in {role for role, _ in reached}:
                    raise BadInput(
                        f"{self.path}.sign_off.{kind}[{index}]",
                        f"nobody can ever sign as {role_name}: whoever is to be one needs a signature first, of "
                        "somebody who cannot be one without such a signature either. Accept a certificate, or an "
                        "appointment, for the first of them",
                    )

    def can_be_met(self, node: Node, role: RoleStandard, operation: str, reached: set[tuple[str, str]]) -> bool:
        """Whether somebody can meet ``node`` once the roles of ``reached`` are filled in their operations."""
        if isinstance(node, Group):
            return sum(self.can_be_met(each, role, operation, reached) for each in node.children) >= node.count
        if isinstance(node, Hours):
            first = next((leaf for leaf in role.leaves() if leaf.key == node.after), None)
            if first is not None and not self.can_be_met(first, role, operation, reached):
                return False
            # Hours imported from another register need no signer here.
            if "imported" in self.counted_alone():
                return True
            if not self.counted_alone():
                return False
        if isinstance(node, Hours | PracticalAssessment):
            signers = self.data["sign_off"]["countersigners" if isinstance(node, Hours) else "assessors"]
            wanted = node.operations or {operation}
            return any((signer, each) in reached for signer in signers for each in wanted)
        return True

    def counted_alone(self) -> set[str]:
        """The provenances by which hours can make up a whole total."""
        provenance = self.data["provenance"]
        alone = set(provenance["counts_in_full"])
        if provenance.get("part_at_most_percent", 0) == 100:
            alone |= set(provenance.get("counts_in_part", []))
        return alone

    def role(self, data: dict[str, Any], path: str) -> RoleStandard:
        node = self.node(data["requirement"], f"{path}.requirement")
        role = RoleStandard(data["role"], frozenset(data["operations"]), node)
        leaves = list(role.leaves())
        by_key: dict[str, Leaf] = {}
        for leaf in leaves:
            if leaf.key in by_key:
                raise BadInput(f"{path}.requirement", f"two requirements have the key {leaf.key!r}")
            by_key[leaf.key] = leaf
        for leaf in leaves:
            self.check_after(leaf, by_key, path)
        if not _always_asks_no_stand_down(node):
            raise BadInput(f"{path}.requirement", "no_stand_down must be asked for on every branch of the tree")
        return role

    def check_after(self, leaf: Leaf, by_key: dict[str, Leaf], path: str) -> None:
        seen = [leaf.key]
        while isinstance(leaf, Hours) and leaf.after is not None:
            if leaf.after not in by_key:
                raise BadInput(f"{path}.requirement", f"{leaf.key!r} comes after unknown {leaf.after!r}")
            if leaf.after in seen:
                raise BadInput(
                    f"{path}.requirement",
                    f"refers to itself: {' after '.join([*seen, leaf.after])}",
                )
            seen.append(leaf.after)
            leaf = by_key[leaf.after]

    def node(self, data: dict[str, Any], path: str) -> Node:
        ((kind, content),) = data.items()
        path = f"{path}.{kind}"
        if kind == "at_least":
            children = content["of"]
            count = content["count"]
            child_path = f"{path}.of"
        elif kind in ("all_of", "any_of"):
            children, child_path = content, path
            count = len(children) if kind == "all_of" else 1
        else:
            return self.leaf(kind, content, path)
        if not children:
            raise BadInput(path, "a standard that asks for nothing is invalid")
        if not 1 <= count <= len(children):
            raise BadInput(path, f"asks for {count} of {len(children)}")
        return Group(
            kind,
            count,
            tuple(self.node(each, f"{child_path}[{i}]") for i, each in enumerate(children)),
        )

    def leaf(self, kind: str, content: dict[str, Any], path: str) -> Leaf:
        common: dict[str, Any] = {
            "key": content["key"],
            "sentence": content["sentence"],
            "source": self.source(content["source"], f"{path}.source"),
            "cost": content.get("cost", 1),
        }
        months = content.get("within_months")
        if kind == "hours":
            minimum, set_by_employer = self.minutes(content["minimum_minutes"], path)
            return Hours(
                **common,
                minimum=minimum,
                set_by_employer=set_by_employer,
                scope=content["scope"],
                operations=_operations(content),
                capacity=content.get("capacity"),
                after=content.get("after"),
                within_months=months,
                longest_gap_months=content.get("longest_gap_months"),
                day_cap=content.get("day_cap_minutes", 24 * 60),
            )
        if kind == "assessment":
            return PracticalAssessment(
                **common,
                scope=content["scope"],
                role=content.get("role"),
                operations=_operations(content),
                within_months=months,
                assessor=content.get("assessor", "any"),
                independent=content.get("independent", True),
            )
        if kind == "certification":
            return Certified(
                **common,
                schemes=tuple(content["schemes"]),
                scope=frozenset(content.get("scope", [])),
                covers=content.get("covers", "any"),
            )
        if kind == "instruction":
            return Instructed(
                **common,
                topic=content["topic"],
                providers=frozenset(content.get("providers", [])),
                scope=content.get("scope", "any"),
                within_months=months,
            )
        if kind == "appointment":
            return Appointed(
                **common,
                duty=content["duty"],
                kinds=frozenset(content.get("kinds", ["duty"])),
                stop_work_authority=content.get("stop_work_authority", False),
            )
        if kind == "language":
            return SharedLanguage(**common, languages=frozenset(content.get("any_of", [])))
        return NoStandDown(**common)

    def minutes(self, value: int | dict[str, str], path: str) -> tuple[int, bool]:
        if isinstance(value, int):
            return value, False
        setting = self.settings.get(value["setting"])
        if setting is None:
            raise BadInput(f"{path}.minimum_minutes", f"unknown setting {value['setting']!r}")
        return self.figures.get(setting.id, setting.minutes), True

    def source(self, key: str, path: str) -> Source:
        if key not in self.sources:
            raise BadInput(path, f"unknown source {key!r}")
        return self.sources[key]

    def day(self, text: Any, path: str) -> date:
        try:
            return text if isinstance(text, date) else date.fromisoformat(text)
        except (TypeError, ValueError):
            raise BadInput(path, f"{text!r} is not a date (YYYY-MM-DD)") from None


def _operations(content: dict[str, Any]) -> frozenset[str]:
    named = content.get("operations", SAME)
    if named == SAME:
        return frozenset()
    return frozenset(OPERATIONS) if named == "any" else frozenset(named)


def _always_asks_no_stand_down(node: Node) -> bool:
    if not isinstance(node, Group):
        return isinstance(node, NoStandDown)
    asking = sum(_always_asks_no_stand_down(child) for child in node.children)
    return asking > len(node.children) - node.count
