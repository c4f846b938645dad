"""What is asked of any file before its content is: plain data, of bounded size, that fits its JSON schema."""

from __future__ import annotations

import json
from collections.abc import Iterator
from functools import lru_cache
from typing import Any

from jsonschema import Draft202012Validator, validators
from jsonschema.exceptions import best_match
from referencing import Registry
from referencing.jsonschema import DRAFT202012

from registry.engine.bad_input import BadInput
from registry.engine.files.schemas import CASE, STANDARD, case_schema, standard_schema
from registry.engine.requirements.kinds import KINDS
from registry.engine.requirements.leaf import Leaf

DEEPEST_LEVEL = 32
MOST_VALUES = 500_000

# JSON Schema calls 60.0 an integer; the engine counts in whole numbers only.
_extend: Any = validators.extend
_Validator = _extend(
    Draft202012Validator,
    type_checker=Draft202012Validator.TYPE_CHECKER.redefine(
        "integer", lambda _, value: isinstance(value, int) and not isinstance(value, bool)
    ),
)


def validator(schema: str) -> Any:
    """The JSON Schema validator for a schema of :mod:`registry.engine.files.schemas`, or a part of it, by reference."""
    return _validator(schema, tuple(KINDS.values()))


@lru_cache
def _validator(schema: str, kinds: tuple[type[Leaf], ...]) -> Any:
    schemas = {STANDARD: standard_schema(kinds), CASE: case_schema()}
    for each in schemas.values():
        # A dialect of its own would bring back the library's validator for what is referred to.
        del each["$schema"]
    resources = Registry().with_contents(schemas.items(), default_specification=DRAFT202012)
    return _Validator(
        {"$ref": schema},
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


def check_schema(data: Any, schema: str) -> None:
    """Raise :class:`BadInput` for the most telling violation of a schema (:func:`validator`)."""
    error = best_match(validator(schema).iter_errors(data))
    if error is not None:
        raise BadInput(json_path(list(error.absolute_path)), error.message[:300])
