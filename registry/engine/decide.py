"""The decision: one question, one standard, the evidence, and an answer.

    permitted  =  the role's tree of requirements is met at every instant of the window

What cannot be told counts as not met; nothing is permitted by an error.
"""

from __future__ import annotations

from datetime import datetime

from registry.engine.account import account_of
from registry.engine.answer import PERMITTED, REFUSED, Decision, Remedy
from registry.engine.bad_input import BadInput
from registry.engine.calendar import end_of_day, start_of_day
from registry.engine.evaluator import Evaluator
from registry.engine.evidence import Evidence
from registry.engine.intervals import FOREVER, NEVER, Timeline, at_least
from registry.engine.question import Asked, Question
from registry.engine.remedy import remedy_for
from registry.engine.requirements.leaf import Evaluation, Leaf
from registry.engine.sentences import authored, day_of, joined, say
from registry.engine.signing import Signatures
from registry.engine.standard import RoleStandard, Standard
from registry.engine.tree import Group, Node, tree_timeline


def decide(evidence: Evidence, standard: Standard, question: Question) -> Decision:
    """Whether the worker may fill the role throughout the window, and why.

    Pure: the same input always gives the same answer, whatever the order of
    the records. Raises :class:`BadInput` for a question that cannot be put
    (unknown model, no standard for the role, an empty window).
    """
    role = check_question(evidence, standard, question)
    known = evidence.known_at(question.known_at)
    signatures = Signatures(known, standard, question.worker, question.zone)
    evaluator = Evaluator(known, signatures)
    asked = _asked(question)
    leaves = {leaf.key: leaf for leaf in role.leaves()}
    evaluations = {key: evaluator.evaluate(leaf, asked, leaves) for key, leaf in leaves.items()}
    whole = tree_timeline(role.requirement, lambda leaf: evaluations[leaf.key].timeline)
    objections, in_force = _in_force(standard, question)
    whole = whole.minus(in_force.outside())
    fails_from = whole.first_gap(question.start, question.end)
    permitted = fails_from is None
    needed = _needed(role.requirement, evaluations, question)
    return Decision(
        question=question,
        outcome=PERMITTED if permitted else REFUSED,
        standard=standard.id,
        standard_version=standard.version,
        standard_title=standard.title,
        role_title=standard.title_of(question.role),
        requirements=tuple(
            account_of(leaf, evaluations[leaf.key], question, signatures, leaf.key in needed) for leaf in role.leaves()
        ),
        holds_until=_holds_until(whole, question) if permitted else None,
        fails_from=fails_from,
        remedy=None if permitted else _remedy(role, evaluations, question, standard, objections),
        objections=objections,
        doubted_signers=frozenset(signatures.doubted),
    )


def check_question(evidence: Evidence, standard: Standard, question: Question) -> RoleStandard:
    """The role standard the question asks for; raises :class:`BadInput`."""
    if question.end <= question.start:
        raise BadInput("$.question.end", "the window ends before it starts")
    if question.model not in evidence.models:
        raise BadInput("$.question.model", f"unknown crane model {question.model!r}")
    if question.worker not in evidence.people:
        raise BadInput("$.question.worker", f"unknown worker {question.worker!r}")
    role = standard.by_role_and_operation.get((question.role, question.operation))
    if role is None:
        raise BadInput(
            "$.question.role",
            f"the standard {standard.id!r} says nothing of {question.role!r} in {question.operation!r}",
        )
    return role


def _asked(question: Question) -> Asked:
    return Asked(
        person=question.worker,
        role=question.role,
        model=question.model,
        operation=question.operation,
        employer=question.employer,
        zone=question.zone,
        since=question.start,
        until=question.end,
        configuration=question.configuration,
        working_language=question.working_language,
    )


def _in_force(standard: Standard, question: Question) -> tuple[tuple[str, ...], Timeline]:
    """Objections to judging this window by this standard, and when it is in force."""
    title = authored(standard.title)
    if question.jurisdiction != standard.jurisdiction:
        wrong = say(
            "the standard %(title)s is for %(jurisdiction)s, the work is in %(place)s",
            title=title,
            jurisdiction=standard.jurisdiction,
            place=question.jurisdiction,
        )
        return (wrong,), NEVER
    start = start_of_day(standard.in_force_from, question.zone)
    end = FOREVER
    if standard.in_force_until is not None:
        end = end_of_day(standard.in_force_until, question.zone)
    if start <= question.start and question.end <= end:
        return (), Timeline.of([(start, end)])
    version, first = standard.version, day_of(standard.in_force_from)
    if standard.in_force_until is None:
        objection = say(
            "version %(version)s of %(title)s is in force from %(first)s: the window must lie within",
            version=version,
            title=title,
            first=first,
        )
    else:
        objection = say(
            "version %(version)s of %(title)s is in force from %(first)s through %(last)s: the window must lie within",
            version=version,
            title=title,
            first=first,
            last=day_of(standard.in_force_until),
        )
    return (objection,), Timeline.of([(start, end)])


def _holds_until(whole: Timeline, question: Question) -> datetime | None:
    interval = whole.interval_at(question.start)
    assert interval is not None
    return None if interval[1] == FOREVER else interval[1]


def _needed(root: Node, evaluations: dict[str, Evaluation], question: Question) -> frozenset[str]:
    """Keys of the unmet leaves that no met branch beside them makes up for."""

    def of_leaf(leaf: Leaf) -> tuple[Timeline, frozenset[str]]:
        return unless_met(evaluations[leaf.key].timeline, frozenset({leaf.key}))

    def of_group(group: Group, below: list[tuple[Timeline, frozenset[str]]]) -> tuple[Timeline, frozenset[str]]:
        timeline = at_least(group.count, [when for when, _ in below])
        return unless_met(timeline, frozenset().union(*(keys for _, keys in below)))

    def unless_met(timeline: Timeline, keys: frozenset[str]) -> tuple[Timeline, frozenset[str]]:
        met = timeline.holds_throughout(question.start, question.end)
        return timeline, frozenset() if met else keys

    return root.fold(of_leaf, of_group)[1]


def _remedy(
    role: RoleStandard,
    evaluations: dict[str, Evaluation],
    question: Question,
    standard: Standard,
    objections: tuple[str, ...],
) -> Remedy:
    if objections:
        return Remedy(obstacle=joined(objections, "; "))
    return remedy_for(role, evaluations, question, standard)
