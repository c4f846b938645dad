"""``manage.py decide CASE.json …``: answer case files without a database."""

from __future__ import annotations

import json
import sys
import traceback
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from registry.engine.answer import Decision
from registry.engine.bad_input import BadInput
from registry.engine.decide import decide
from registry.engine.files.case_file import Case, read_case
from registry.engine.files.expected import Difference, differences
from registry.engine.harmless import as_json, in_line, visible
from registry.engine.render import as_text
from registry.standards.files import shipped_standards

PERMITTED, REFUSED, BAD_INPUT, DIFFERS, CRASHED = 0, 1, 2, 3, 70
WORST_LAST = (PERMITTED, REFUSED, DIFFERS, BAD_INPUT, CRASHED)
"""Of several files the last of these that one of them has."""


@dataclass(slots=True)
class Answered:
    """What became of one file: ``decision``, or ``problem`` in words."""

    name: str
    status: int
    case: Case | None = None
    decision: Decision | None = None
    problem: str = ""
    differences: list[Difference] = field(default_factory=list)


class Command(BaseCommand):
    help = (
        "Decide case files. Exit status: 0 permitted, 1 refused, 2 bad input, 3 another answer than expected "
        "(with --check), 70 the command failed. Of several files: 70 if one failed, else 2, else 3, else 1. "
        "The format is taught in fixtures/cases/README.md."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "cases",
            nargs="+",
            metavar="CASE",
            help="a case file, a folder with case files (*.json), or - for standard input",
        )
        parser.add_argument("--json", action="store_true", help="answer in JSON; several files: a list")
        parser.add_argument(
            "--check",
            action="store_true",
            help="compare each answer with what its file expects; 0 if all are as expected",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            status = self._answer(**options)
        except Exception:
            # 1 would say that somebody is refused.
            self._complain(traceback.format_exc())
            status = CRASHED
        if status:
            sys.exit(status)

    def _answer(self, *, cases: list[str], check: bool, **options: Any) -> int:
        several = check or len(cases) > 1 or any(Path(each).is_dir() for each in cases)
        answered: list[Answered] = []
        for each in self._each(cases, check):
            answered.append(each)
            if each.problem:
                self._complain(f"{in_line(each.name)}: {each.problem}" if several else each.problem)
            elif not options["json"]:
                self._say(_checked(each) if check else _told(each, several))
        if options["json"]:
            self._say_json(answered, several)
        elif check:
            self._say(_counted(answered))
        return max((each.status for each in answered), key=WORST_LAST.index)

    def _each(self, names: list[str], check: bool) -> Iterator[Answered]:
        for name in names:
            path = Path(name)
            if name != "-" and path.is_dir():
                inside = sorted(path.glob("*.json"))
                if not inside:
                    yield Answered(name, BAD_INPUT, problem="bad input: no case file (*.json) in this folder")
                yield from (_answered(str(each), check) for each in inside)
            else:
                yield _answered(name, check)

    def _say_json(self, answered: list[Answered], several: bool) -> None:
        if several:
            self._say(as_json([_plain(each) for each in answered]) + "\n")
        elif answered[0].decision is not None:
            self._say(as_json(answered[0].decision.as_json()) + "\n")

    def _say(self, text: str) -> None:
        self.stdout.write(_printable(text, self.stdout), ending="")

    def _complain(self, text: str) -> None:
        lines = "\n".join(map(visible, text.rstrip("\n").split("\n")))
        self.stderr.write(_printable(lines, self.stderr))


def _answered(name: str, check: bool) -> Answered:
    try:
        case = read_case(_read(name), shipped=shipped_standards)
        decision = decide(case.evidence, case.standard, case.question)
        if check and not case.expected:
            raise BadInput("$.expected", "is missing: there is nothing to compare the answer with")
        if not check:
            return Answered(name, PERMITTED if decision.permitted else REFUSED, case, decision)
        found = differences(decision, case.expected)
        return Answered(name, DIFFERS if found else PERMITTED, case, decision, differences=found)
    except (BadInput, OSError) as error:
        return Answered(name, BAD_INPUT, problem=f"bad input: {visible(str(error))}")
    except Exception:
        # The other files are answered all the same.
        return Answered(name, CRASHED, problem=f"the command failed:\n{traceback.format_exc()}")


def _read(name: str) -> bytes:
    return sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()


def _told(each: Answered, several: bool) -> str:
    assert each.case is not None
    assert each.decision is not None
    names = {key: person.name for key, person in each.case.evidence.people.items()}
    names |= {key: f"{model.maker} {model.designation}" for key, model in each.case.evidence.models.items()}
    text = as_text(each.decision, names)
    return f"== {in_line(each.name)}\n{text}\n" if several else text


def _checked(each: Answered) -> str:
    if not each.differences:
        return f"as expected  {in_line(each.name)}\n"
    lines = [f"DIFFERS      {in_line(each.name)}"]
    lines += [
        f"             {difference.field}: expected {_value(difference.expected)}, found {_value(difference.found)}"
        for difference in each.differences
    ]
    return "\n".join(lines) + "\n"


def _value(value: Any) -> str:
    return visible(json.dumps(value, ensure_ascii=False))


def _counted(answered: list[Answered]) -> str:
    statuses = [each.status for each in answered]
    counts = [(PERMITTED, "as expected"), (DIFFERS, "not as expected"), (BAD_INPUT, "bad input"), (CRASHED, "failed")]
    return f"{len(answered)} cases: {', '.join(f'{statuses.count(status)} {said}' for status, said in counts)}\n"


def _plain(each: Answered) -> dict[str, Any]:
    plain: dict[str, Any] = {"case": each.name, "status": each.status}
    if each.problem:
        return plain | {"problem": each.problem}
    assert each.decision is not None
    return plain | {"answer": each.decision.as_json(), "differences": [asdict(one) for one in each.differences]}


def _printable(text: str, stream: Any) -> str:
    """The text in what the stream can write: a terminal without Unicode is no reason to fail."""
    encoding = getattr(stream, "encoding", None) or "utf-8"
    return text.encode(encoding, "backslashreplace").decode(encoding)
