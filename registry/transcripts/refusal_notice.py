"""The refusal notice: a stored refusal, requirement by requirement, with what would cure it."""

from __future__ import annotations

from datetime import datetime

import rfc8785
from django.utils import translation
from django.utils.translation import gettext as _

from registry.crews.described import DescribedDecision
from registry.crews.models import Decision
from registry.transcripts.check import Check
from registry.transcripts.printing import Attachment, render

DATA_NAME = "decision.json"


class NotARefusal(ValueError):
    """The decision permits; there is nothing to give notice of."""


def print_refusal_notice(
    decision: Decision, *, printed_at: datetime, language: str = "en", paper: str = "A4", check: Check | None = None
) -> bytes:
    """The refusal as a tagged PDF with the engine's whole answer embedded. Raises :class:`NotARefusal`."""
    if decision.permitted:
        raise NotARefusal(f"Decision {decision.pk} permits.")
    with translation.override(language):
        described = DescribedDecision(decision)
        context = {
            "page": described,
            "given": decision,
            "answer": described.answer,
            "zone": described.answer["question"]["time_zone"],
            "unmet": described.unmet,
            "others": described.others,
            "printed_at": printed_at,
            "check": check,
        }
        data = Attachment(
            DATA_NAME, "application/json", rfc8785.dumps(described.answer), _("This decision as data"), "Source"
        )
    return render(
        template="refusal_notice.html",
        context=context,
        language=language,
        created_at=printed_at,
        paper=paper,
        attachments=[data],
    )
