"""No stand-down in force."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from registry.engine.answer import RemedyItem
from registry.engine.calendar import local_date
from registry.engine.evaluator import Evaluator
from registry.engine.evidence import Appointment, Assessment, Certification, Instruction, StandDown
from registry.engine.intervals import FOREVER, Interval, Timeline
from registry.engine.question import Asked, Question
from registry.engine.requirements.account import Account
from registry.engine.requirements.assessment import WantedAssessment
from registry.engine.requirements.leaf import Evaluation, Leaf
from registry.engine.requirements.scope import ModelsThatCount
from registry.engine.requirements.wanted import Wanted
from registry.engine.sentences import authored, day_of, moment, say
from registry.engine.standard import Standard


@dataclass(slots=True)
class StandDownEvaluation(Evaluation):
    """What is to be done about the stand-downs in force."""

    begin_later: list[datetime] = field(default_factory=list)
    """When those begin that begin in the time asked about, whatever was obtained before."""
    retraining_due: list[datetime] = field(default_factory=list)
    """When those began that no retraining answers yet."""
    lifted_by_its_author: bool = False
    """Whether a re-assessment lifts none because of who recorded what."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoStandDown(Leaf[StandDownEvaluation]):
    """No stand-down for the role and model is in force."""

    kind = "no_stand_down"
    asked_on_every_branch = True

    def evaluate(self, asked: Asked, evaluator: Evaluator, leaves: Mapping[str, Leaf]) -> StandDownEvaluation:
        """No stand-down for the role, the model and the employer bars.

        One bars from its start, but for the time in which the registrar suspends it, until it is lifted:
        by retraining that answers it and by a re-assessment passed later than that retraining. Who stood
        somebody down does not undo it in the same sitting, so three things are asked of the two records:

        - The assessor's right to assess does not rest on what the author of the retraining or of the
          re-assessment recorded after the stand-down began: a founding appointment, a maker's
          instructor's, a certificate. It must follow from all the rest.
        - One author does not record both, unless the assessor recorded the re-assessment in their own account.
        - In that last case the assessor's right does not rest on such a record of the same author's at any time.

        Where the author of such a record, or of what it is compared with, is not known, they may be one: what
        was recorded after the stand-down has to show that it is somebody else's. That one author recorded
        retraining and re-assessment is held against them only where it is known: of most old records it is not
        known who brought them in, and that alone is no sign of anything.
        """
        evaluation = StandDownEvaluation()
        barred: list[Interval] = []
        for stand_down in evaluator.evidence.stand_downs_of.get(asked.person, []):
            if stand_down.role not in (None, asked.role) or stand_down.model not in (None, asked.model):
                continue
            if stand_down.only_at not in (None, asked.employer):
                continue
            lifted, not_lifting = _lifting(stand_down, asked, evaluator)
            suspended = [
                (suspension.start, FOREVER if suspension.end is None else suspension.end)
                for suspension in evaluator.evidence.suspensions_of.get(stand_down.id, [])
            ]
            bars = Timeline.of([(stand_down.start, lifted)]).minus(Timeline.of(suspended))
            barred += bars.intervals
            bars_then = bars.limited_to(asked.since, asked.until).intervals
            if not bars_then:
                continue
            if stand_down.start >= asked.since:
                evaluation.begin_later.append(bars_then[0][0])
            evaluation.not_counted["stand_down"].append(stand_down.id)
            for reason, assessment in not_lifting:
                evaluation.lifted_by_its_author = True
                evaluation.not_counted[reason].append(assessment)
            if not any(course.completed_at < asked.since for course in _retraining(stand_down, asked, evaluator)):
                evaluation.retraining_due.append(stand_down.start)
        for records in evaluation.not_counted.values():
            records[:] = dict.fromkeys(records)
        evaluation.timeline = Timeline.of(barred).outside()
        return evaluation

    def account(self, evaluation: StandDownEvaluation, question: Question, fails_from: datetime | None) -> Account:
        required = say("no stand-down for the role and model")
        if fails_from is None:
            return Account(required, say("none in force"), "")
        barred = say("a stand-down is in force at %(instant)s", instant=moment(fails_from, question.zone))
        return Account(required, say("in force"), barred)

    # What would meet it

    def obstacle(self, evaluation: StandDownEvaluation, question: Question, standard: Standard) -> str:
        if any(question.start <= began < question.end for began in evaluation.begin_later):
            return say("A stand-down begins inside the window (%(requirement)s).", requirement=authored(self.sentence))
        return ""

    def wanted(
        self, evaluation: StandDownEvaluation, question: Question, leaves: Mapping[str, Leaf]
    ) -> Sequence[Wanted]:
        retraining = [Retraining(self, self.cost, began) for began in sorted(evaluation.retraining_due)]
        # After a stand-down somebody is assessed again on this very model.
        own = ModelsThatCount("model", frozenset({question.model}), question.model)
        operations = frozenset({question.operation})
        by_others = evaluation.lifted_by_its_author
        again = WantedAssessment(
            self, self.cost, question.role, operations, own, "any", lifts=True, by_others=by_others
        )
        return [*retraining, again]


@dataclass(frozen=True, slots=True)
class Retraining(Wanted):
    """Retraining that answers the stand-down which ``began`` then."""

    began: datetime

    @property
    def sort(self) -> Hashable:
        return "retraining"

    def item(self, question: Question) -> RemedyItem:
        day = day_of(local_date(self.began, question.zone))
        wanted = say("retraining that answers the stand-down of %(day)s, then a re-assessment", day=day)
        return RemedyItem("retraining", self.leaf.key, wanted, self.cost)

    def rank(self, place: int) -> tuple[int, int]:
        return 0, place


def _lifting(stand_down: StandDown, asked: Asked, evaluator: Evaluator) -> tuple[datetime, list[tuple[str, str]]]:
    """When retraining and a re-assessment lift it, and ``(reason, assessment)`` of those that do not."""
    courses = _retraining(stand_down, asked, evaluator)
    not_lifting: list[tuple[str, str]] = []
    for assessment in evaluator.evidence.assessments_of.get(asked.person, []) if courses else ():
        before = [course for course in courses if course.completed_at < assessment.assessed_at]
        if not (
            before
            and assessment.outcome == "pass"
            and assessment.kind == "practical"
            and assessment.role == asked.role
            and assessment.model == asked.model
            and asked.operation in assessment.operations
            and evaluator.signatures.judge_assessment(assessment, None, asked) is None
        ):
            continue
        reasons = [_lifts_its_own(stand_down, course, assessment, asked, evaluator) for course in before]
        if None in reasons:
            return assessment.assessed_at, []
        not_lifting += [(reason, assessment.id) for reason in reasons if reason is not None]
    return FOREVER, not_lifting


def _retraining(stand_down: StandDown, asked: Asked, evaluator: Evaluator) -> list[Instruction]:
    """The retraining that answers it."""
    return [
        course
        for course in evaluator.evidence.instruction_of.get(asked.person, [])
        if course.after_stand_down == stand_down.id and course.completed_at >= stand_down.start
    ]


def _lifts_its_own(
    stand_down: StandDown, retraining: Instruction, assessment: Assessment, asked: Asked, evaluator: Evaluator
) -> str | None:
    """Why the two do not lift the stand-down, for who recorded them; ``None`` if they do."""
    authors = {retraining.recorded_by, assessment.recorded_by}
    both_by = retraining.recorded_by if len(authors) == 1 else None
    if both_by is not None and not assessment.signed_by_assessor:
        return "one_author_lifts"
    began = min(stand_down.start, stand_down.recorded_at)

    def profits(ground: Appointment | Certification) -> bool:
        author = ground.recorded_by
        if author is not None and author == both_by:
            return True
        return ground.recorded_at > began and (author is None or None in authors or author in authors)

    grounds: list[Appointment | Certification] = [
        *(act for act in evaluator.evidence.appointments if act.kind != "duty"),
        *evaluator.evidence.certifications,
    ]
    left_out = frozenset(ground.id for ground in grounds if profits(ground))
    if not left_out:
        return None
    if evaluator.without(left_out).signatures.judge_assessment(assessment, None, asked) is None:
        return None
    evaluator.signatures.doubt(assessment.assessor)
    return "assessor_made_by_who_lifts"
