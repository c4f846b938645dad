"""What stays valid for some calendar months only."""

from __future__ import annotations

from registry.engine.calendar import INSTANT, first_day_outside, local_date, start_of_day
from registry.engine.question import Question
from registry.engine.requirements.leaf import Leaf
from registry.engine.sentences import authored, say


def stays_valid_too_short(leaf: Leaf, within_months: int | None, question: Question) -> str:
    """The obstacle where what is obtained on the eve of the window would not outlast it."""
    if within_months is not None:
        eve = local_date(question.start - INSTANT, question.zone)
        if start_of_day(first_day_outside(eve, within_months), question.zone) < question.end:
            return say(
                "The window is longer than this stays valid (%(requirement)s).", requirement=authored(leaf.sentence)
            )
    return ""
