"""The JSON schemas of role standards and case files, and the files that describe them to others.

Each kind of requirement brings the schema of its own fields. Write the files again with

    python3 -m registry.engine.files.schemas

A test holds the files to this module.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from registry.engine.requirements.kinds import KINDS
from registry.engine.requirements.leaf import Leaf, Schema

FOLDER = Path(__file__).parent
STANDARD, CASE = "standard.schema.json", "case.schema.json"
GROUPS = ("all_of", "any_of", "at_least")

COMMON: Schema = {
    "key": {"$ref": "#/$defs/key"},
    "sentence": {"$ref": "#/$defs/sentence"},
    "source": {"type": "string"},
    "cost": {"$ref": "#/$defs/cost"},
}
"""The fields of every requirement."""


def standard_schema(kinds: Iterable[type[Leaf]] = tuple(KINDS.values())) -> Schema:
    """The schema of role standards that may ask for these kinds of requirement."""
    schema = _on_disk(STANDARD)
    node = schema["$defs"]["node"]["properties"]
    groups = {name: node[name] for name in GROUPS}
    schema["$defs"]["node"]["properties"] = groups | {kind.kind: leaf_schema(kind) for kind in kinds}
    return schema


def leaf_schema(kind: type[Leaf]) -> Schema:
    """The schema of one kind of requirement."""
    return {
        "type": "object",
        "additionalProperties": False,
        "required": ["key", "sentence", "source", *kind.required],
        "properties": COMMON | kind.fields,
    }


def case_schema() -> Schema:
    """The schema of case files."""
    return _on_disk(CASE)


def _on_disk(name: str) -> Any:
    return json.loads((FOLDER / name).read_text(encoding="utf-8"))


def as_file(schema: Schema) -> str:
    """The schema as its file holds it."""
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


def main() -> None:
    """Write the files."""
    for name, schema in ((STANDARD, standard_schema()), (CASE, case_schema())):
        (FOLDER / name).write_text(as_file(schema), encoding="utf-8")


if __name__ == "__main__":
    main()
