"""Marks beside people and signatures: whom nobody outside the inviting firm has seen, and whose signature is denied."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from registry.evidence.in_your_name import denied_of_entries
from registry.evidence.models import DeniedSignature
from registry.people.identity import unchecked_among, unchecked_workers
from registry.people.models import Account, Worker


def mark_people(people: Iterable[Worker]) -> None:
    """Set ``unchecked_firm`` on each: the firm that alone stands for the person's account, or blank."""
    people = list(people)
    firms = unchecked_workers(each.pk for each in people)
    for each in people:
        each.unchecked_firm = firms.get(each.pk, "")  # type: ignore[attr-defined]


def mark_accounts(accounts: Iterable[Account]) -> None:
    """Set ``unchecked_firm`` on accounts, as :func:`mark_people` does on workers."""
    accounts = list(accounts)
    firms = unchecked_among(each.pk for each in accounts)
    for each in accounts:
        each.unchecked_firm = firms.get(each.pk, "")  # type: ignore[attr-defined]


def mark_signatures(entries: Iterable[Any]) -> None:
    """Set ``unchecked_firm`` and ``denied`` on the countersignatures of hours entries. Two statements."""
    entries = list(entries)
    signatures = [signature for each in entries for signature in each.countersignatures.all()]
    firms = unchecked_among(each.recorded_by_id for each in signatures)
    denied = denied_of_entries([each.pk for each in entries]) if signatures else set()
    for each in signatures:
        each.unchecked_firm, each.denied = firms.get(each.recorded_by_id, ""), each.pk in denied


def mark_assessments(assessments: Iterable[Any]) -> None:
    """Set ``unchecked_firm`` and ``denied`` on assessments. Two statements."""
    assessments = list(assessments)
    firms = unchecked_among(each.recorded_by_id for each in assessments)
    said = DeniedSignature.objects.filter(record_kind="assessment", record_id__in=[each.pk for each in assessments])
    denied = set(said.values_list("record_id", flat=True)) if assessments else set()
    for each in assessments:
        each.unchecked_firm, each.denied = firms.get(each.recorded_by_id, ""), each.pk in denied
