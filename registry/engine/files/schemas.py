"""The JSON schemas of role standards and case files, and the files that describe them to others.

Each kind of requirement brings the schema of its own fields. Write the files again with

    python3 -m registry.engine.files.schemas

A test holds the files to this module.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path

from registry.engine.files.case_format import CASE_DEFS, CaseInFile
from registry.engine.files.struct_schema import struct_schema
from registry.engine.requirements.kinds import KINDS
from registry.engine.requirements.leaf import Leaf, Schema

FOLDER = Path(__file__).parent
STANDARD, CASE = "standard.schema.json", "case.schema.json"
SHIPPED = f"{CASE}#/$defs/shipped"
"""A standard that a case file names."""
GROUPS = ("all_of", "any_of", "at_least")

COMMON: Schema = {
    "key": {"$ref": "#/$defs/key"},
    "sentence": {"$ref": "#/$defs/sentence"},
    "source": {"type": "string"},
    "cost": {"$ref": "#/$defs/cost"},
}
"""The fields of every requirement."""


def standard_schema(kinds: Iterable[type[Leaf]]) -> Schema:
    """The schema of role standards that may ask for these kinds of requirement."""
    schema = json.loads((FOLDER / STANDARD).read_text(encoding="utf-8"))
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
    """The schema of case files, made of the structures that read them."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": CASE,
        "title": "Case file",
        "description": "People, evidence, a standard and one question. Instants are ISO 8601 with an offset, whole "
        "minutes; recorded_at defaults to when the thing happened. fixtures/cases/README.md teaches the format.",
        **struct_schema(CaseInFile),
        "$defs": CASE_DEFS,
    }


def as_file(schema: Schema) -> str:
    """The schema as its file holds it."""
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


def main() -> None:
    """Write the files."""
    for name, schema in ((STANDARD, standard_schema(KINDS.values())), (CASE, case_schema())):
        (FOLDER / name).write_text(as_file(schema), encoding="utf-8")


if __name__ == "__main__":
    main()
