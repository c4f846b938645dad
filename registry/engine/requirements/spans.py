"""Requirements that are met while any record that fits is in force."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TypeVar

from registry.engine.evidence import Appointment, Instruction
from registry.engine.intervals import Interval, Timeline
from registry.engine.question import Asked
from registry.engine.requirements.leaf import Evaluation

Spanning = TypeVar("Spanning", Instruction, Appointment)


def while_in_force(
    records: Iterable[Spanning],
    why_not: Callable[[Spanning], str | None],
    span: Callable[[Spanning], Interval],
    asked: Asked,
) -> Evaluation:
    """Met while any of the records is in force that ``why_not`` has no reason against."""
    evaluation = Evaluation()
    spans: list[Interval] = []
    for record in records:
        reason = why_not(record)
        if reason is None:
            start, end = span(record)
            spans.append((start, end))
            if asked.signing or start <= asked.since < end:
                evaluation.counted.append(record.id)
                continue
            reason = "not_in_the_window"
        evaluation.not_counted[reason].append(record.id)
    evaluation.timeline = Timeline.of(spans)
    return evaluation
