"""The account of one requirement: figures, evidence and reasons, for people to read."""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise

from registry.engine.answer import LeafResult, NotCounted
from registry.engine.question import Question
from registry.engine.requirements.leaf import Evaluation, Leaf
from registry.engine.sentences import listed, say
from registry.engine.signing import Signatures


def account_of(
    leaf: Leaf,
    evaluation: Evaluation,
    question: Question,
    signatures: Signatures,
    needed: bool,
) -> LeafResult:
    """The account of ``leaf`` over the question's window."""
    fails_from = evaluation.timeline.first_gap(question.start, question.end)
    account = leaf.account(evaluation, question, fails_from)
    return LeafResult(
        key=leaf.key,
        kind=leaf.kind,
        sentence=leaf.sentence,
        source=leaf.source,
        met=fails_from is None,
        required=account.required,
        found=account.found,
        shortfall=account.shortfall,
        fails_from=fails_from,
        counted=tuple(sorted(evaluation.counted)),
        not_counted=_not_counted(evaluation, signatures),
        needed=needed,
        **account.figures,
    )


def _not_counted(evaluation: Evaluation, signatures: Signatures) -> tuple[NotCounted, ...]:
    found: list[NotCounted] = []
    for reason, records in sorted(evaluation.not_counted.items()):
        if not records:
            continue
        if reason in ("countersigner_not_entitled", "assessor_not_entitled"):
            found += _by_signer(reason, records, signatures)
        else:
            found.append(NotCounted(reason, tuple(sorted(records))))
    return tuple(found)


def _by_signer(reason: str, records: list[str], signatures: Signatures) -> list[NotCounted]:
    """Tell a ring of mutual signatures from a signer who merely lacks documents."""
    evidence = signatures.evidence
    wanted = set(records)
    signed_by: dict[str, list[str]] = defaultdict(list)
    for entry in evidence.hours:
        if entry.id in wanted:
            last = max(entry.countersignatures, key=lambda each: (each.at, each.by))
            signed_by[last.by].append(entry.id)
    for given in evidence.assessments:
        if given.id in wanted:
            signed_by[given.assessor].append(given.id)
    found = []
    for signer, theirs in sorted(signed_by.items()):
        ring = signatures.ring_through(signer)
        if ring:
            names = [evidence.name_of(each) for each in _closed(ring)]
            signed = listed(say("%(signer)s signed for %(other)s", signer=a, other=b) for a, b in pairwise(names))
            found.append(NotCounted("sign_off_ring", tuple(sorted(theirs)), signed))
        else:
            found.append(NotCounted(reason, tuple(sorted(theirs)), evidence.name_of(signer)))
    return found


def _closed(ring: list[str]) -> list[str]:
    """The ring from signer to signed, first person last again.

    One that leads to the worker is closed by the signature for the worker.
    """
    chain = ring[::-1]
    return chain if chain[0] == chain[-1] else [chain[-1], *chain]
