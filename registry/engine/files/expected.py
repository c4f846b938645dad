"""What a worked case expects, against the answer that the engine gives."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from registry.engine.answer import Decision


@dataclass(frozen=True, slots=True)
class Difference:
    """A field of ``expected`` that is not so; both values in the case file's own terms."""

    field: str
    expected: Any
    found: Any


def differences(decision: Decision, expected: dict[str, Any]) -> list[Difference]:
    """Where the answer is not the one that the case expects; only what is stated is compared."""
    found = _found(decision, expected)
    return [
        Difference(name, value, found[name])
        for name, value in expected.items()
        if _comparable(name, value) != _comparable(name, found[name])
    ]


def _found(decision: Decision, expected: dict[str, Any]) -> dict[str, Any]:
    """The part of the answer that a case may state, in the case file's own terms."""
    plain = decision.as_json()
    short = {leaf["key"]: leaf.get("shortfall_minutes") for leaf in plain["requirements"]}
    given = {group["reason"] for leaf in plain["requirements"] for group in leaf["not_counted"]}
    remedy = plain["remedy"] or {"items": []}
    return {
        "outcome": plain["outcome"],
        "holds_until": plain["holds_until"],
        "fails_from": plain["fails_from"],
        "not_met": [leaf["key"] for leaf in plain["requirements"] if not leaf["met"]],
        "shortfall_minutes": {key: short.get(key) for key in expected.get("shortfall_minutes", {})},
        "reasons": [each for each in expected.get("reasons", []) if each in given],
        "remedy": [item["leaf"] for item in remedy["items"]],
    }


def _comparable(name: str, value: Any) -> Any:
    """Instants compare as instants, whichever offset they are written with."""
    return datetime.fromisoformat(value) if name in ("holds_until", "fails_from") and value is not None else value
