"""``manage.py decide CASE.json``: answer a case file without a database."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from registry.eligibility.case import read_case
from registry.eligibility.decide import decide
from registry.eligibility.render import as_text
from registry.eligibility.standard import BadInput

REFUSED, BAD_INPUT = 1, 2


class Command(BaseCommand):
    help = (
        "Decide a case file. Exit status: 0 permitted, 1 refused, 2 bad input. "
        "The format is taught in fixtures/cases/README.md."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("case", help="a case file, or - for standard input")
        parser.add_argument("--json", action="store_true", help="answer in JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            case = read_case(self._read(options["case"]))
            decision = decide(case.evidence, case.standard, case.question)
        except (BadInput, OSError) as error:
            self.stderr.write(f"bad input: {error}")
            sys.exit(BAD_INPUT)
        if options["json"]:
            self.stdout.write(json.dumps(decision.as_json(), indent=2, ensure_ascii=False))
        else:
            names = {key: person.name for key, person in case.evidence.people.items()}
            names |= {key: f"{model.maker} {model.designation}" for key, model in case.evidence.models.items()}
            self.stdout.write(as_text(decision, names), ending="")
        if not decision.permitted:
            sys.exit(REFUSED)

    def _read(self, name: str) -> bytes:
        return sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()
