"""A question of the register asked as of a past instant, beside the same question asked now.

Two answers: by what the register knew then and by what it knows now, and the
records that make the difference between them. Reads alone; the caller says what
time it is.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.crews.queries import Answered, Asking, answer_from
from registry.database.errors import RecordRefused, broken
from registry.database.readers import as_the_register
from registry.engine.answer import LeafResult
from registry.engine.bad_input import BadInput
from registry.engine.calendar import EARLIEST_YEAR, LATEST_YEAR, local_date
from registry.engine.evidence import CertificationStatus, Evidence
from registry.engine.render import CAUTION
from registry.engine.standard import Standard
from registry.equipment.models import CraneModel
from registry.evidence.queries import evidence_behind, evidence_for, signer_closure
from registry.inspection.late_changes import Change, Keys, LateChanges
from registry.inspection.words import KINDS, RecordWords, in_words, instant_in_words, split
from registry.language.amounts import day as written_day
from registry.language.said import authored, leaf_in_language, spoken
from registry.language.words import in_words as in_words_of_name
from registry.people.models import Employer, Worker
from registry.standards.models import StandardVersion
from registry.standards.queries import StandardHistory, history_of

OUTCOMES = {
    "permitted": gettext_lazy("permitted"),
    "refused": gettext_lazy("refused"),
    "none": gettext_lazy("no answer"),
}

WHY = {
    "recorded_later": gettext_lazy("recorded only after that instant"),
    "corrected_since": gettext_lazy("corrects what the register showed at that instant"),
    "withdrawn_since": gettext_lazy("withdraws what the register showed at that instant"),
    "countersigned_since": gettext_lazy("the entry was there, but countersigned only after that instant"),
    "suspended_since": gettext_lazy("the suspension was recorded only after that instant"),
    "revoked_since": gettext_lazy("the revocation was recorded only after that instant"),
    "reinstated_since": gettext_lazy("the reinstatement was recorded only after that instant"),
    "stood_down_since": gettext_lazy("the stand-down was recorded only after that instant"),
    "standard_since": gettext_lazy("this version of the role standard was recorded only after that instant"),
    "figure_since": gettext_lazy("the employer set this figure only after that instant"),
    "registered_since": gettext_lazy("registered only after that instant"),
}
"""Why a change makes a difference."""

SIGNED_FOR_THEM = gettext_lazy("a record of somebody whose signature stands behind the worker's records")


@dataclass(frozen=True, slots=True)
class Side:
    """One of the two answers: ``answered``, or the ``sentence`` that says why there is none."""

    answered: Answered | None
    sentence: str = ""

    @property
    def outcome(self) -> str:
        """``permitted``, ``refused`` or ``none``."""
        return "none" if self.answered is None else self.answered.answer.outcome

    @property
    def word(self) -> str:
        """The outcome for people."""
        return str(OUTCOMES[self.outcome])


@dataclass(frozen=True, slots=True)
class RequirementThenAndNow:
    """One requirement in both answers; ``None`` where an answer has no such requirement."""

    key: str
    sentence: str
    then: LeafResult | None
    now: LeafResult | None
    differs: bool


@dataclass(frozen=True, slots=True)
class Effect:
    """A requirement that a difference bears on: what was found then, and what is found now."""

    key: str
    sentence: str
    then: str
    now: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """A record that makes the difference.

    ``why`` is a key of :data:`WHY`. ``number`` is the record's own (``None`` for a
    version of a standard, which ``what`` names). ``worker`` is whom the record is
    about, where it is about somebody; ``of_a_signer`` says that this is somebody
    else than the person in question. ``withheld``: the reader may not see whose
    it is (:meth:`Comparison.seen_by`).
    """

    kind: str
    number: int | None
    title: str
    who: str
    worker: int | None
    happened: str
    what: str
    recorded_at: datetime
    recorded: str
    why: str
    effects: tuple[Effect, ...]
    of_a_signer: bool = False
    withheld: bool = False

    @property
    def because(self) -> str:
        """Why it makes a difference, in words."""
        return str(WHY[self.why])

    @property
    def record(self) -> str:
        """The record in words."""
        named = self.title if self.number is None else f"{self.title} {self.number}"
        return ", ".join(each for each in (named, self.who, self.happened, self.what) if each)

    @property
    def sentence(self) -> str:
        """All of it in one sentence."""
        return _("%(record)s; recorded %(recorded)s: %(because)s.") % {
            "record": self.record,
            "recorded": self.recorded,
            "because": self.because,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """The two answers side by side, and what makes the difference.

    ``asking`` is the question without an instant; ``known_at`` the past instant,
    ``now`` the present one. ``differences`` are in the order of recording.
    """

    asking: Asking
    worker: str
    known_at: datetime
    now_at: datetime
    then: Side
    now: Side
    requirements: tuple[RequirementThenAndNow, ...]
    differences: tuple[Difference, ...]

    @property
    def outcome_differs(self) -> bool:
        """Whether the answer itself is another one now."""
        return self.then.outcome != self.now.outcome

    @property
    def sentence(self) -> str:
        """The comparison in one sentence."""
        return _("By what the register knew at %(instant)s: %(then)s. By what it knows now: %(now)s.") % {
            "instant": instant_in_words(self.known_at, ZoneInfo(self.asking.time_zone)),
            "then": self.then.word,
            "now": self.now.word,
        }

    @property
    def workers(self) -> set[int]:
        """Everybody whose records it tells of, beside the person asked about."""
        return {each.worker for each in self.differences if each.worker is not None}

    def seen_by(self, visible: Collection[int]) -> Comparison:
        """The comparison for a reader who may see the records of the workers ``visible`` alone.

        Of a record of anybody else it says that somebody who signed has one, not whose and what.
        """
        return replace(self, differences=tuple(_withheld(each, visible) for each in self.differences))

    def as_json(self) -> dict[str, Any]:
        """The comparison as plain JSON data; instants as ISO 8601."""
        return {
            "worker": self.asking.worker,
            "worker_name": self.worker,
            "role": self.asking.role,
            "operation": self.asking.operation,
            "start": self.asking.start.isoformat(),
            "end": self.asking.end.isoformat(),
            "time_zone": self.asking.time_zone,
            "known_at": self.known_at.isoformat(),
            "now": self.now_at.isoformat(),
            "sentence": self.sentence,
            "outcome_differs": self.outcome_differs,
            "then": _side_json(self.then),
            "by_now": _side_json(self.now),
            "differences": [
                {
                    "kind": each.kind,
                    "number": each.number,
                    "worker": each.worker,
                    "of_a_signer": each.of_a_signer,
                    "record": each.record,
                    "recorded_at": each.recorded_at.isoformat(),
                    "why": each.why,
                    "sentence": each.sentence,
                    "effects": [
                        {
                            "requirement": effect.key,
                            "sentence": effect.sentence,
                            "then": effect.then,
                            "now": effect.now,
                        }
                        for effect in each.effects
                    ],
                }
                for each in self.differences
            ],
            "caution": CAUTION,
        }


def compare(asking: Asking, *, known_at: datetime, now: datetime) -> Comparison:
    """Ask as of ``known_at`` and as of ``now``; ``asking.known_at`` is of no account.

    Raises :class:`RecordRefused` for an instant without an offset from UTC or
    later than ``now``, and :class:`BadInput` where the question cannot be put at
    either time.
    """
    (comparison,) = compare_all([asking], known_at=known_at, now=now)
    return comparison


@as_the_register()
def compare_all(askings: Sequence[Asking], *, known_at: datetime, now: datetime) -> list[Comparison]:
    """:func:`compare` for each of several questions; the statements do not grow with the people asked about."""
    require_past(known_at, now=now)
    read = _Read(askings)
    return [_compared(replace(each, known_at=None), read, known_at, now) for each in askings]


class _Read:
    """All that the register knows about what is asked, read once: any instant is looked for in it."""

    def __init__(self, askings: Sequence[Asking]) -> None:
        workers = {each.worker for each in askings}
        self.evidence = evidence_for(worker_ids=sorted(signer_closure(*workers)))
        self.histories = {
            named: history_of(*named) for named in {(each.standard_key, each.employer) for each in askings}
        }
        self.registered: dict[str, dict[int, Any]] = {
            "worker": Worker.objects.in_bulk(workers),
            "model": CraneModel.objects.select_related("maker").in_bulk({each.model for each in askings}),
            "employer": Employer.objects.in_bulk({each.employer for each in askings}),
        }

    def history(self, asking: Asking) -> StandardHistory:
        return self.histories[asking.standard_key, asking.employer]


def _compared(asking: Asking, read: _Read, known_at: datetime, now: datetime) -> Comparison:
    history = read.history(asking)
    evidence = evidence_behind(read.evidence, asking.worker)
    unknown = _registered_since(asking, read, known_at)
    then = _side(replace(asking, known_at=known_at), evidence, history, unknown)
    by_now = _side(asking, evidence, history, [])
    if then.answered is None and by_now.answered is None:
        answer_from(evidence, asking, history)  # raises what is wrong with the question itself
    differences = _Differences(asking, known_at, then, by_now, evidence, history).found(unknown)
    return Comparison(
        asking=asking,
        worker=evidence.name_of(f"worker:{asking.worker}"),
        known_at=known_at,
        now_at=now,
        then=then,
        now=by_now,
        requirements=_side_by_side(then, by_now),
        differences=differences,
    )


def require_past(known_at: datetime, *, now: datetime) -> None:
    """Raise :class:`RecordRefused` unless the register can have known anything at that instant."""
    if known_at.tzinfo is None:
        raise RecordRefused([broken("instant_has_an_offset")])
    if known_at > now:
        raise RecordRefused([broken("instant_is_past")])


def parse_instant(text: str, *, field: str) -> datetime:
    """An aware instant from ISO 8601 text; raises :class:`RecordRefused` for ``field``."""
    try:
        instant = datetime.fromisoformat(text)
    except ValueError:
        raise RecordRefused([broken("instant_is_iso_8601", field, text=repr(text))]) from None
    if instant.tzinfo is None:
        raise RecordRefused([broken("instant_has_an_offset", field)])
    if not EARLIEST_YEAR <= instant.year <= LATEST_YEAR:
        years = {"earliest": EARLIEST_YEAR, "latest": LATEST_YEAR}
        raise RecordRefused([broken("instant_is_in_a_year_of_the_register", field, **years)])
    return instant


@dataclass(frozen=True, slots=True)
class _Registration:
    """Somebody or something the question is about, registered after the instant."""

    kind: str
    number: int
    name: str
    recorded_at: datetime


def _registered_since(asking: Asking, read: _Read, known_at: datetime) -> list[_Registration]:
    found = []
    for kind, key in (("worker", asking.worker), ("model", asking.model), ("employer", asking.employer)):
        registered = read.registered[kind][key]
        if registered.recorded_at > known_at:
            found.append(_Registration(kind, key, str(registered), registered.recorded_at))
    return found


def _side(asking: Asking, evidence: Evidence, history: StandardHistory, unknown: list[_Registration]) -> Side:
    """The answer, or the sentence that says why there is none."""
    zone = ZoneInfo(asking.time_zone)
    if unknown:
        sentences = [
            _("The register did not know %(name)s at that instant: registered %(instant)s.")
            % {"name": each.name, "instant": instant_in_words(each.recorded_at, zone)}
            for each in unknown
        ]
        return Side(None, " ".join(sentences))
    try:
        return Side(answer_from(evidence, asking, history))
    except BadInput as error:
        return Side(None, _no_answer(asking, history, error))


def _no_answer(asking: Asking, history: StandardHistory, error: BadInput) -> str:
    known_at = asking.known_at
    if known_at is not None and all(each.recorded_at > known_at for each in history.versions):
        return _("The register held no version of the role standard %(key)s at that instant.") % {
            "key": asking.standard_key
        }
    day = local_date(asking.start, ZoneInfo(asking.time_zone))
    if history.in_force(day, known_at) is None:
        return _("No version of the role standard %(key)s was in force on %(day)s, by what was known.") % {
            "key": asking.standard_key,
            "day": written_day(day),
        }
    return _("The question could not be answered: %(why)s.") % {"why": error.message}


def _side_by_side(before: Side, after: Side) -> tuple[RequirementThenAndNow, ...]:
    was = {} if before.answered is None else {each.key: each for each in before.answered.answer.requirements}
    is_now = {} if after.answered is None else {each.key: each for each in after.answered.answer.requirements}
    found = []
    for key in dict.fromkeys([*is_now, *was]):
        earlier, later = was.get(key), is_now.get(key)
        leaf = later or earlier
        assert leaf is not None
        differs = earlier is None or later is None or _shown(earlier) != _shown(later)
        then, now = (None if each is None else leaf_in_language(each) for each in (earlier, later))
        found.append(RequirementThenAndNow(key, authored(leaf.sentence), then, now, differs))
    return tuple(found)


def _shown(leaf: LeafResult) -> tuple[Any, ...]:
    return leaf.met, leaf.required, leaf.found, leaf.shortfall, leaf.fails_from, leaf.counted


class _Differences:
    """Finds what makes the difference between two sides, and puts it into words."""

    def __init__(
        self,
        asking: Asking,
        known_at: datetime,
        then: Side,
        now: Side,
        evidence: Evidence,
        history: StandardHistory,
    ) -> None:
        self.asking = asking
        self.known_at = known_at
        self.then = then
        self.now = now
        self.evidence = evidence
        self.zone = ZoneInfo(asking.time_zone)
        self.standards = _StandardChanges(asking, known_at, history)

    def found(self, unknown: list[_Registration]) -> tuple[Difference, ...]:
        causes = [self._registration(each) for each in unknown]
        if self.then.answered is None or self.now.answered is None:
            # With one answer alone there are no two accounts to hold against each other: what stood in
            # the way of the other one, and what the one that there is rests on and came since.
            causes += [self._standard_change(each, ()) for each in self.standards.versions]
            causes += [self._change(each, ()) for each in self._rests_on()]
        else:
            late = LateChanges(
                self.evidence, self.asking.question(), self.known_at, self.standards.standard, self.standards.changes
            )
            for each in late.responsible:
                effects = self._effects(late.requirements_changed_by(each))
                of_standard = not each.records and each.signature is None
                causes.append(self._standard_change(each, effects) if of_standard else self._change(each, effects))
        return tuple(sorted(causes, key=lambda each: (each.recorded_at, each.kind, each.number or 0)))

    def _rests_on(self) -> list[Change]:
        if self.now.answered is None:
            return []
        counted = {key for leaf in self.now.answered.answer.requirements for key in leaf.counted}
        return [
            Change(each.id, each.recorded_at, (each,))
            for _name, records in self.evidence.known_at(None).record_kinds()
            for each in records
            if each.id in counted and each.recorded_at > self.known_at
        ]

    def _effects(self, bears_on: Keys) -> tuple[Effect, ...]:
        assert self.then.answered is not None
        assert self.now.answered is not None
        was = {leaf.key: leaf.found for leaf in self.then.answered.answer.requirements}
        return tuple(
            Effect(leaf.key, authored(leaf.sentence), spoken(was.get(leaf.key, "")), spoken(leaf.found))
            for leaf in self.now.answered.answer.requirements
            if leaf.key in bears_on
        )

    def _change(self, change: Change, effects: tuple[Effect, ...]) -> Difference:
        if change.signature is not None:
            assert change.entry is not None
            entry = in_words(change.entry, self.evidence, self.zone)
            words = replace(
                entry,
                kind="countersignature",
                title=str(KINDS["countersignature"]),
                what=_("signed by %(who)s") % {"who": self.evidence.name_of(change.signature.by)},
            )
            return self._difference(words, change.recorded_at, "countersigned_since", effects)
        latest = change.latest
        words = in_words(latest, self.evidence, self.zone)
        if change.corrects is not None:
            corrected = split(change.corrects)[1]
            why = "withdrawn_since" if latest.withdrawn else "corrected_since"
            instead = _("instead of no. %(number)s") % {"number": corrected}
            words = replace(words, what=f"{words.what}, {instead}" if words.what else instead)
        elif isinstance(latest, CertificationStatus):
            why = f"{latest.status}_since"
        elif words.kind == "stand_down":
            why = "stood_down_since"
        else:
            why = "recorded_later"
        return self._difference(words, latest.recorded_at, why, effects)

    def _standard_change(self, change: Change, effects: tuple[Effect, ...]) -> Difference:
        kind = change.key.partition(":")[0]
        words = RecordWords(
            kind=kind,
            number=0,
            title=str(KINDS[kind]),
            who="",
            worker=None,
            happened="",
            what=self.standards.names[change.key],
        )
        found = self._difference(words, change.recorded_at, f"{kind}_since", effects)
        return replace(found, number=None)

    def _registration(self, registered: _Registration) -> Difference:
        words = RecordWords(
            kind=registered.kind,
            number=registered.number,
            title=str(KINDS[registered.kind]),
            who=registered.name if registered.kind == "worker" else "",
            worker=registered.number if registered.kind == "worker" else None,
            happened="",
            what="" if registered.kind == "worker" else registered.name,
        )
        return self._difference(words, registered.recorded_at, "registered_since", ())

    def _difference(
        self, words: RecordWords, recorded_at: datetime, why: str, effects: tuple[Effect, ...]
    ) -> Difference:
        return Difference(
            kind=words.kind,
            number=words.number,
            title=words.title,
            who=words.who,
            worker=words.worker,
            happened=words.happened,
            what=words.what,
            recorded_at=recorded_at,
            recorded=instant_in_words(recorded_at, self.zone),
            why=why,
            effects=effects,
            of_a_signer=words.worker is not None and words.worker != self.asking.worker,
        )


class _StandardChanges:
    """What changed in the role standard itself since the instant: versions and the employer's figures."""

    def __init__(self, asking: Asking, known_at: datetime, history: StandardHistory) -> None:
        self.known_at = known_at
        self.history = history
        self._day = local_date(asking.start, ZoneInfo(asking.time_zone))
        self._version_then = history.in_force(self._day, known_at)
        self._version_now = history.in_force(self._day)
        self._figures_then = history.figures(known_at)
        self._figures_now = history.figures()
        self.names: dict[str, str] = {}
        self.versions = self._late_versions()
        self.changes = [*self.versions, *self._late_figures()]

    def standard(self, known: Keys) -> Standard:
        """The standard with some of the changes."""
        late = any(each.key in known for each in self.versions)
        version = self._version_now if late else self._version_then
        assert version is not None
        figures = {
            setting: minutes
            for setting, minutes in (self._figures_then | self._figures_now).items()
            if f"figure:{setting}" in known or setting in self._figures_then
        }
        figures |= {
            setting: minutes for setting, minutes in self._figures_then.items() if f"figure:{setting}" not in known
        }
        return self.history.parsed(version, figures, None if late else self.known_at)

    def _late_versions(self) -> list[Change]:
        """At most one change: the version that governs the day since, or the one whose start ends it earlier."""
        since = [each for each in self.history.versions if each.recorded_at > self.known_at]
        if self._version_then != self._version_now:
            # Where none is in force now, one that started by then has run out.
            late = max((each for each in since if each.in_force_from <= self._day), key=_first_day)
        elif self._version_now is not None and self._last_day(self.known_at) != self._last_day(None):
            late = min((each for each in since if each.in_force_from > self._day), key=_first_day)
        else:
            return []
        change = Change(f"standard:{late.version}", late.recorded_at)
        self.names[change.key] = _("%(title)s, version %(version)s, in force from %(day)s") % {
            "title": authored(late.title),
            "version": late.version,
            "day": written_day(late.in_force_from),
        }
        return [change]

    def _last_day(self, known_at: datetime | None) -> date | None:
        assert self._version_now is not None
        return self.history.last_day(self._version_now, known_at)

    def _late_figures(self) -> list[Change]:
        late = {each.setting: each for each in self.history.own_figures if each.recorded_at > self.known_at}
        found = []
        for _setting, each in sorted(late.items()):
            change = Change(f"figure:{each.setting}", each.recorded_at)
            self.names[change.key] = _("%(setting)s: %(minutes)s minutes") % {
                "setting": in_words_of_name(each.setting),
                "minutes": each.minutes,
            }
            found.append(change)
        return found


def _first_day(version: StandardVersion) -> date:
    return version.in_force_from


def _withheld(difference: Difference, visible: Collection[int]) -> Difference:
    if difference.worker is None or difference.worker in visible:
        return difference
    return replace(
        difference,
        number=None,
        title=str(SIGNED_FOR_THEM),
        who="",
        worker=None,
        happened="",
        what="",
        withheld=True,
    )


def _side_json(side: Side) -> dict[str, Any]:
    return {
        "outcome": side.outcome,
        "sentence": side.sentence,
        "answer": None if side.answered is None else side.answered.answer.as_json(),
    }
