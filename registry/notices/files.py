"""The rules that come with the register, as YAML files (``fixtures/notices``)."""

from __future__ import annotations

import json
from datetime import date, datetime
from functools import cache
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.checks import CheckMessage, Error
from jsonschema import Draft202012Validator
from jsonschema.exceptions import best_match

from registry.engine.bad_input import BadInput
from registry.engine.calendar import local_date
from registry.notices.rules import Asked, Duty, NoticeRule
from registry.standards.files import read_standard_file

SCHEMA = Path(__file__).with_name("notice-rule.schema.json")


def read_rule_file(path: Path) -> NoticeRule:
    """The rule in a file. Raises :class:`BadInput` with the file's name and the JSON path of what is wrong."""
    try:
        return parse_rule(read_standard_file(path))
    except BadInput as error:
        raise BadInput(f"{path.name}: {error.path}", error.message) from None


def parse_rule(data: dict[str, Any]) -> NoticeRule:
    """The rule from plain data (``notice-rule.schema.json``). Raises :class:`BadInput`."""
    wrong = best_match(_validator().iter_errors(data))
    if wrong is not None:
        raise BadInput(wrong.json_path, wrong.message)
    parts = [each["part"] for each in data["asks_for"]]
    for index, part in enumerate(parts):
        if part in parts[:index]:
            raise BadInput(f"$.asks_for[{index}].part", f"{part!r} is asked for twice")
    start = _day(data["in_force"]["from"], "$.in_force.from")
    end = _day(data["in_force"]["until"], "$.in_force.until") if "until" in data["in_force"] else None
    if end is not None and end < start:
        raise BadInput("$.in_force.until", "lies before the day it is in force from")
    return NoticeRule(
        key=data["rule"],
        version=data["version"],
        title=data["title"],
        note=data.get("note", ""),
        jurisdiction=data["jurisdiction"],
        in_force_from=start,
        in_force_until=end,
        source=data["source"]["title"],
        source_status=data["source"]["status"],
        operations=frozenset(data["operations"]["names"]),
        operations_clause=data["operations"]["clause"],
        calendar_days=data["deadline"]["calendar_days"],
        deadline_clause=data["deadline"]["clause"],
        deadline_sentence=data["deadline"]["sentence"],
        asks_for=tuple(Asked(each["part"], each["sentence"], each["clause"]) for each in data["asks_for"]),
        changes=Duty(**data["changes"]),
        posting=Duty(**data["posting"]),
    )


@cache
def shipped_rules(folder: Path) -> tuple[NoticeRule, ...]:
    """Every rule in a folder, the later version of the same one first. Raises :class:`BadInput`."""
    found = [read_rule_file(path) for path in sorted(folder.glob("*.yaml"))]
    return tuple(sorted(found, key=lambda each: (each.key, -each.version)))


def rule_for(*, jurisdiction: str, operation: str, start: datetime, zone: ZoneInfo) -> NoticeRule | None:
    """The rule for an operation that starts at ``start`` by the site's day; ``None`` where the register knows none."""
    day = local_date(start, zone)
    rules = shipped_rules(settings.NOTICES)
    return next((each for each in rules if each.holds_for(jurisdiction, operation, day)), None)


def rule_by_version(key: str, version: int | None) -> NoticeRule | None:
    """The rule that a notice was sent under; ``None`` where there was none, or it is shipped no more."""
    rules = shipped_rules(settings.NOTICES)
    return next((each for each in rules if (each.key, each.version) == (key, version)), None)


def check_files(app_configs: Any, **options: Any) -> list[CheckMessage]:
    """Django's check on start-up: a bad file is told before anybody relies on it."""
    try:
        shipped_rules(settings.NOTICES)
    except BadInput as error:
        return [Error(f"A notice rule cannot be read. {error}", id="notices.E001")]
    return []


@cache
def _validator() -> Draft202012Validator:
    return Draft202012Validator(json.loads(SCHEMA.read_text(encoding="utf-8")))


def _day(text: str, path: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise BadInput(path, f"{text!r} is no day of the calendar") from None
