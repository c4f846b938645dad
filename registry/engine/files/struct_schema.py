"""The JSON schema of a structure: its fields, their types, limits and descriptions."""

from __future__ import annotations

from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints

from msgspec import Meta, Struct, UnsetType, structs

LIMITS = {"min_length": ("minLength", "minItems"), "max_length": ("maxLength", "maxItems"), "ge": ("minimum",) * 2}
"""The keywords for a limit: of all but lists, and of lists."""
PLAIN = {str: "string", int: "integer", bool: "boolean"}


def struct_schema(kind: type[Struct]) -> dict[str, Any]:
    """The schema of an object with the fields of ``kind``, and no others."""
    hints = get_type_hints(kind, include_extras=True)
    members = structs.fields(kind)
    schema: dict[str, Any] = {"type": "object", "additionalProperties": False}
    required = [member.encode_name for member in members if member.required]
    if required:
        schema["required"] = required
    return schema | {"properties": {member.encode_name: _schema(hints[member.name]) for member in members}}


def _schema(hint: Any) -> dict[str, Any]:
    origin, args = get_origin(hint), get_args(hint)
    if origin is Annotated:
        return _annotated(args[0], [meta for meta in args[1:] if type(meta) is Meta])
    if origin in (Union, UnionType):
        return _either([arg for arg in args if arg is not UnsetType])
    if origin is Literal:
        return {"enum": list(args)}
    if origin is list:
        return {"type": "array", "items": _schema(args[0])}
    if origin is dict:
        return {"type": "object"} | ({} if args[1] is Any else {"additionalProperties": _schema(args[1])})
    return {"type": PLAIN[hint]} if hint in PLAIN else struct_schema(hint)


def _annotated(hint: Any, metas: list[Meta]) -> dict[str, Any]:
    schema = _schema(hint)
    of_list = schema.get("type") == "array"
    items = {"items": schema.pop("items")} if of_list else {}
    for meta in metas:
        extra = dict(meta.extra or {})
        if "ref" in extra:
            return {"$ref": f"#/$defs/{extra['ref']}"}
        if "schema" in extra:
            return dict(extra["schema"])
        for name, keywords in LIMITS.items():
            if getattr(meta, name) is not None:
                schema[keywords[of_list]] = getattr(meta, name)
        description = {"description": extra.pop("description")} if "description" in extra else {}
        schema = description | schema | extra
    return schema | items


def _either(hints: list[Any]) -> dict[str, Any]:
    """One type, or that and null."""
    schema = _schema(next(hint for hint in hints if hint is not NoneType))
    if NoneType not in hints:
        return schema
    if "$ref" in schema:
        return {"anyOf": [schema, {"type": "null"}]}
    return schema | {"type": [schema["type"], "null"]}
