"""The notice on paper: a first page to post at the workplace, then the qualifications with their proof."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from django.utils import translation
from django.utils.translation import gettext as _

from registry.notices.content import canonical_text, sha256_of
from registry.notices.rules import Missing, NoticeRule
from registry.notices.words import STANDING, missing_in_words
from registry.transcripts.printing import Attachment, render


def print_notice(
    content: dict[str, Any],
    *,
    rule: NoticeRule | None,
    missing: Sequence[Missing],
    printed_at: datetime,
    sent_at: datetime | None = None,
    language: str = "en",
    paper: str = "A4",
) -> bytes:
    """A content (``notice.schema.json``) as a tagged PDF with the same content embedded as JSON.

    With parts ``missing`` it says under the title that it is incomplete; with
    ``sent_at`` it says that this is the notice as it was sent. One that changes a
    notice sent before says which, and in what parts.
    """
    text = canonical_text(content)
    with translation.override(language):
        description = _("The same notice for machines; its SHA-256 is on the paper.")
        return render(
            template="notice.html",
            context={
                "notice": content,
                "zone": content["site"]["time_zone"],
                "first_day": date.fromisoformat(content["work"]["first_day"]),
                "last_day": date.fromisoformat(content["work"]["last_day"]),
                "days": days_of(content),
                "rule": rule,
                "sha256": sha256_of(text),
                "printed_at": printed_at,
                "sent_at": sent_at,
                "supervisors": [_in_words(each) for each in content["supervisors"]],
                "parties": content["parties"],
                "changes": content.get("changes"),
                "missing": [missing_in_words(each) for each in missing],
            },
            language=language,
            created_at=printed_at,
            paper=paper,
            attachments=[Attachment("notice.json", "application/json", text.encode(), description)],
        )


def days_of(content: dict[str, Any]) -> int:
    """The estimated duration: calendar days from the first through the last."""
    work = content["work"]
    return (date.fromisoformat(work["last_day"]) - date.fromisoformat(work["first_day"])).days + 1


def _in_words(said: dict[str, Any]) -> dict[str, Any]:
    """A supervisor with days as days, for the template."""
    certificates = [
        {
            **each,
            "issued": date.fromisoformat(each["issued"]),
            "expires": date.fromisoformat(each["expires"]) if each["expires"] else None,
        }
        for each in said.get("certificates", [])
    ]
    return {
        **said,
        "certificates": certificates,
        "standing": STANDING[said["standing"]],
        "held": said["standing"] == "held",
    }
