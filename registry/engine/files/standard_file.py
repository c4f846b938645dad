"""Role standards as files write them: read into :class:`~registry.engine.standard.Standard`, or refused.

:func:`parse_standard` turns the plain data of a standard file (YAML or JSON)
into a :class:`Standard`, or raises :class:`BadInput` with the JSON path of what
is wrong. A standard that asks for nothing is invalid, never permissive.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from registry.engine.bad_input import BadInput
from registry.engine.files.checks import check_depth, check_schema
from registry.engine.requirements.kinds import KINDS
from registry.engine.requirements.leaf import Leaf, Signable
from registry.engine.standard import CrewRules, Plausibility, Provenance, RoleStandard, Setting, Source, Standard
from registry.engine.tree import Group, Node


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
            found = {each for each, role in pending.items() if self.can_be_met(role, self.signable(each[1], reached))}
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

    def can_be_met(self, role: RoleStandard, so_far: Signable) -> bool:
        """Whether somebody can meet the role's requirements once the roles named can be filled."""
        leaves = {leaf.key: leaf for leaf in role.leaves()}

        def of_leaf(leaf: Leaf) -> bool:
            first = leaf.comes_after
            return (first is None or of_leaf(leaves[first])) and leaf.can_be_signed(so_far)

        return role.requirement.fold(of_leaf, lambda group, met: sum(met) >= group.count)

    def signable(self, operation: str, filled: set[tuple[str, str]]) -> Signable:
        sign_off = self.data["sign_off"]
        return Signable(
            operation, frozenset(filled), sign_off["countersigners"], sign_off["assessors"], self.counted_alone()
        )

    def counted_alone(self) -> frozenset[str]:
        """The provenances by which hours can make up a whole total."""
        provenance = self.data["provenance"]
        alone = set(provenance["counts_in_full"])
        if provenance.get("part_at_most_percent", 0) == 100:
            alone |= set(provenance.get("counts_in_part", []))
        return frozenset(alone)

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
        for kind in KINDS.values():
            if kind.asked_on_every_branch and not _always_asks(node, kind):
                raise BadInput(f"{path}.requirement", f"{kind.kind} must be asked for on every branch of the tree")
        return role

    def check_after(self, leaf: Leaf, by_key: dict[str, Leaf], path: str) -> None:
        seen = [leaf.key]
        while leaf.comes_after is not None:
            if leaf.comes_after not in by_key:
                raise BadInput(f"{path}.requirement", f"{leaf.key!r} comes after unknown {leaf.comes_after!r}")
            if leaf.comes_after in seen:
                raise BadInput(
                    f"{path}.requirement",
                    f"refers to itself: {' after '.join([*seen, leaf.comes_after])}",
                )
            seen.append(leaf.comes_after)
            leaf = by_key[leaf.comes_after]

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
        common = {
            "key": content["key"],
            "sentence": content["sentence"],
            "source": self.source(content["source"], f"{path}.source"),
            "cost": content.get("cost", 1),
        }
        return KINDS[kind].read(content, common, self, path)

    def minutes(self, value: int | dict[str, str], path: str) -> tuple[int, bool]:
        """Minutes as written or as a setting gives them, and whether the employer sets them."""
        match value:
            case int():
                return value, False
            case {"setting": str(key)} if key in self.settings:
                return self.figures.get(key, self.settings[key].minutes), True
            case _:
                raise BadInput(path, f"unknown setting {value['setting']!r}")

    def source(self, key: str, path: str) -> Source:
        if key not in self.sources:
            raise BadInput(path, f"unknown source {key!r}")
        return self.sources[key]

    def day(self, text: Any, path: str) -> date:
        try:
            return text if isinstance(text, date) else date.fromisoformat(text)
        except (TypeError, ValueError):
            raise BadInput(path, f"{text!r} is not a date (YYYY-MM-DD)") from None


def _always_asks(node: Node, kind: type[Leaf]) -> bool:
    """Whether every way to meet the tree asks for a requirement of the kind."""
    return node.fold(lambda leaf: leaf.kind == kind.kind, lambda group, asking: sum(asking) > len(asking) - group.count)
