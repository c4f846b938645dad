"""A decision as plain text, for people at a terminal."""

from __future__ import annotations

from collections.abc import Iterator

from registry.engine.answer import Decision, LeafResult
from registry.engine.harmless import in_line, visible
from registry.engine.sentences import moment, sentence
from registry.engine.terms import in_english

CAUTION = sentence(
    "The registry checks documents; it does not make a lift safe. Local law, the maker's "
    "instructions and licensed professionals come first."
)


def as_text(decision: Decision, names: dict[str, str]) -> str:
    """The whole answer in lines of text; ``names`` gives people's and models' names.

    Whatever names and free text contain, they add no line and no terminal code.
    """
    return "\n".join(map(visible, _lines(decision, names))) + "\n"


def _lines(decision: Decision, names: dict[str, str]) -> Iterator[str]:
    asked = decision.question
    worker, model = (in_line(names.get(each, each)) for each in (asked.worker, asked.model))
    yield (
        f"{decision.outcome.upper()}: {worker} as {in_line(decision.role_title)}, "
        f"{in_english(asked.operation)} of {model}"
    )
    yield (
        f"  from {moment(asked.start, asked.zone)} to {moment(asked.end, asked.zone)} "
        f"({asked.zone.key}), by {in_line(decision.standard_title)}, version {decision.standard_version}"
    )
    if asked.known_at is not None:
        yield f"  by what the register knew at {moment(asked.known_at, asked.zone)}"
    if decision.permitted:
        until = decision.holds_until
        yield "  holds " + ("with no end in sight" if until is None else f"until {moment(until, asked.zone)}")
    elif decision.fails_from is not None:
        yield f"  fails from {moment(decision.fails_from, asked.zone)}"
    yield from (f"  {in_line(each)}" for each in decision.objections)
    yield ""
    for leaf in decision.requirements:
        yield from _requirement(leaf, decision)
    if decision.remedy is not None:
        yield ""
        yield "What would cure it:"
        if decision.remedy.obstacle:
            yield f"  nothing that can be obtained: {in_line(decision.remedy.obstacle)}"
        yield from (f"  - {in_line(each.sentence)}" for each in decision.remedy.items)
    yield ""
    yield CAUTION


def _requirement(leaf: LeafResult, decision: Decision) -> Iterator[str]:
    word = "met    " if leaf.met else "NOT MET" if leaf.needed else "not met"
    yield f"  {word}  {in_line(leaf.sentence)}"
    figures = f"required {leaf.required}; found {leaf.found}"
    if leaf.shortfall:
        figures += f"; {leaf.shortfall}"
    yield f"           {in_line(figures)}"
    source = in_line(leaf.source.title)
    if leaf.set_by_employer:
        source += " (figure set by the employer, no published figure)"
    yield f"           source: {source}"
    if leaf.counted:
        yield f"           counted: {_some(leaf.counted)}"
    for each in leaf.not_counted:
        yield f"           not counted: {_some(each.records)}: {in_line(each.sentence)}"


def _some(records: tuple[str, ...], most: int = 6) -> str:
    shown = ", ".join(map(in_line, records[:most]))
    return shown if len(records) <= most else f"{shown} and {len(records) - most} more"
