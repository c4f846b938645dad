"""Reading a standard file: YAML text to the plain data the parser checks.

YAML has habits a standard cannot live with: it takes the last of two equal
keys, turns dates into objects, and allows keys that are no text. Each is
settled here, with the JSON path of what is wrong.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Hashable
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import yaml

from registry.engine.bad_input import BadInput
from registry.engine.files.checks import check_depth
from registry.language.plain_text import code_point, hidden_within

SHIPPED = Path(__file__).parents[2] / "fixtures" / "standards"


class _StrictLoader(yaml.SafeLoader):
    """The safe loader, except that it refuses a key given twice."""

    def construct_mapping(self, node: yaml.MappingNode, deep: bool = False) -> dict[Hashable, Any]:
        seen: set[str] = set()
        for key_node, _ in node.value:
            if key_node.value in seen:
                raise yaml.constructor.ConstructorError(
                    None, None, f"the key {key_node.value!r} is given twice", key_node.start_mark
                )
            if isinstance(key_node, yaml.ScalarNode):
                seen.add(key_node.value)
        return super().construct_mapping(node, deep)


def read_standard_file(path: Path) -> dict[str, Any]:
    """The plain data of a standard file. Raises :class:`BadInput`."""
    try:
        return plain_data(path.read_text(encoding="utf-8"))
    except UnicodeDecodeError:
        raise BadInput("$", "is not UTF-8 text") from None


@cache
def shipped_standards() -> list[dict[str, Any]]:
    """The plain data of the standards that come with the registry."""
    return [read_standard_file(each) for each in sorted(SHIPPED.glob("*.yaml"))]


def plain_data(text: str) -> dict[str, Any]:
    """YAML text as dictionaries, lists, text and numbers. Raises :class:`BadInput`."""
    try:
        data = yaml.load(text, Loader=_StrictLoader)  # noqa: S506 (a safe loader, made stricter)
    except (yaml.YAMLError, RecursionError) as error:
        raise BadInput("$", f"cannot be read as YAML: {error}") from None
    check_depth(data)
    if not isinstance(data, dict):
        raise BadInput("$", "is not a standard: a mapping is expected")
    plain = {_text_key(key, "$"): _plain(each, f"$.{key}") for key, each in data.items()}
    if hidden := hidden_within(plain, "$"):
        where, character = hidden
        raise BadInput(where, f"holds the hidden character {code_point(character)}: take it out")
    return plain


def canonical_text(data: dict[str, Any]) -> str:
    """One text for equal content, whatever the order of keys in the file."""
    return json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def sha256_of(data: dict[str, Any]) -> str:
    """The fingerprint by which equal content is told."""
    return hashlib.sha256(canonical_text(data).encode()).hexdigest()


def _plain(value: Any, path: str) -> Any:
    if isinstance(value, dict):
        return {_text_key(key, path): _plain(each, f"{path}.{key}") for key, each in value.items()}
    if isinstance(value, list):
        return [_plain(each, f"{path}[{index}]") for index, each in enumerate(value)]
    if isinstance(value, date):
        return value.isoformat()
    if value is None or isinstance(value, str | int | float):
        return value
    raise BadInput(path, f"a {type(value).__name__} has no place in a standard")


def _text_key(key: Any, path: str) -> str:
    if not isinstance(key, str):
        raise BadInput(path, f"the key {key!r} is no text: put it in quotes")
    return key
