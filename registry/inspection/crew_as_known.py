"""Who stood in each place of a job's crew, by what the register knew then and by what it knows now."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from itertools import islice
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.crews.described import readable_reason
from registry.crews.models import Assignment, AssignmentEvent, Job, Slot
from registry.crews.queries import asking_for_slot
from registry.database.readers import as_the_register
from registry.engine.bad_input import BadInput
from registry.engine.crew import CrewFinding
from registry.engine.render import CAUTION
from registry.inspection.as_known import Comparison, compare_all, require_past
from registry.inspection.crew_on_record import CrewOnRecord, crew_on_record
from registry.inspection.crew_rules_as_known import crew_rules_as_known
from registry.inspection.words import instant_in_words
from registry.people.models import Worker

STANDINGS = {
    "standing": gettext_lazy("stood on the crew"),
    "held": gettext_lazy("held: did not fill the place"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class InPlace:
    """Somebody in a place on the crew at an instant. ``standing`` is ``standing`` or ``held``."""

    assignment: int
    worker: Worker
    standing: str
    reason: str
    start: datetime
    end: datetime
    assigned_at: datetime

    @property
    def word(self) -> str:
        """The standing for people."""
        return str(STANDINGS[self.standing])


@dataclass(frozen=True, slots=True)
class WhatCameSince:
    """An assignment, or what became of one, that was recorded after the instant and bears on who stood there."""

    recorded_at: datetime
    worker: int
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceAsKnown:
    """One place of the crew in both views; ``comparisons`` has one for each person of either view."""

    slot: Slot
    then: tuple[InPlace, ...]
    now: tuple[InPlace, ...]
    since: tuple[WhatCameSince, ...]
    comparisons: tuple[Comparison, ...]

    @property
    def differs(self) -> bool:
        """Whether somebody else, or nobody, stood there by the other view."""
        return _standing(self.then) != _standing(self.now)


@dataclass(frozen=True, slots=True)
class Rules:
    """The crew rules over the whole job in one view, or the sentence that says why they cannot be told."""

    findings: tuple[CrewFinding, ...]
    sentence: str = ""

    @property
    def met(self) -> bool:
        """Whether the whole crew was in order."""
        return bool(self.findings) and all(each.met for each in self.findings)

    def as_json(self) -> dict[str, Any]:
        """Plain JSON data."""
        return {
            "met": self.met,
            "sentence": self.sentence,
            "findings": [{"rule": each.rule, "met": each.met, "sentence": each.sentence} for each in self.findings],
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class CrewAsKnown:
    """A job's crew at ``at``, an instant of the work, by what was known at ``known_at`` and at ``now_at``.

    ``not_planned_yet`` and ``replaced`` are sentences, empty where they do not
    apply. The crew rules tell of the whole job, and of the whole crew: they are
    ``None`` for a reader who does not see it.
    """

    job: Job
    at: datetime
    known_at: datetime
    now_at: datetime
    not_planned_yet: str
    replaced: str
    places: tuple[PlaceAsKnown, ...]
    rules_then: Rules | None
    rules_now: Rules | None

    @property
    def differs(self) -> bool:
        """Whether anything differs: who stood there, an answer about one of them, or a crew rule."""
        return self.rules_then != self.rules_now or any(
            each.differs or any(comparison.outcome_differs for comparison in each.comparisons) for each in self.places
        )

    @property
    def workers(self) -> set[int]:
        """Everybody it tells of: in the crew, or behind a record that makes a difference."""
        found: set[int] = set()
        for place in self.places:
            found.update(each.worker.pk for each in (*place.then, *place.now))
            for comparison in place.comparisons:
                found.update(each.worker for each in comparison.differences if each.worker is not None)
        return found

    def seen_by(self, visible: set[int], *, whole_crew: bool) -> CrewAsKnown:
        """The view for a reader who may see the records of ``visible`` alone.

        Without ``whole_crew`` (a worker asks) the other people in the crew are left out.
        """
        seen = replace(self, places=tuple(_place_seen_by(each, visible, whole_crew) for each in self.places))
        return seen if whole_crew else replace(seen, rules_then=None, rules_now=None)

    def as_json(self) -> dict[str, Any]:
        """The view as plain JSON data; instants as ISO 8601."""
        return {
            "job": self.job.pk,
            "during": self.at.isoformat(),
            "known_at": self.known_at.isoformat(),
            "now": self.now_at.isoformat(),
            "not_planned_yet": self.not_planned_yet,
            "replaced": self.replaced,
            "differs": self.differs,
            "places": [
                {
                    "slot": each.slot.pk,
                    "role": each.slot.role,
                    "position": each.slot.position,
                    "differs": each.differs,
                    "then": [_in_place_json(one) for one in each.then],
                    "by_now": [_in_place_json(one) for one in each.now],
                    "since": [
                        {
                            "recorded_at": one.recorded_at.isoformat(),
                            "worker": one.worker,
                            "sentence": one.sentence,
                        }
                        for one in each.since
                    ],
                    "comparisons": [one.as_json() for one in each.comparisons],
                }
                for each in self.places
            ],
            "rules_then": None if self.rules_then is None else self.rules_then.as_json(),
            "rules_by_now": None if self.rules_now is None else self.rules_now.as_json(),
            "caution": CAUTION,
        }


@as_the_register()
def crew_as_known(job: Job, *, day_instant: datetime, known_at: datetime, now: datetime) -> CrewAsKnown:
    """The crew of a job, current or an earlier plan, at an instant of the work.

    What became of an assignment counts from when it happened, and is known from
    when it was recorded. The number of statements is fixed, whatever the size of the
    crew. Raises :class:`RecordRefused` for an instant that cannot be known,
    and :class:`BadInput` where no answer can be given about somebody.
    """
    require_past(known_at, now=now)
    crew = crew_on_record(job.pk)
    job, zone = crew.job, ZoneInfo(crew.job.site.time_zone)
    views = [_place_in_both_views(crew, slot, day_instant, known_at, now) for slot in crew.slots]
    # Of somebody who was in one place more than once, the window of the later view is asked about.
    windows = [{each.worker.pk: (each.start, each.end) for each in (*view.then, *view.now)} for view in views]
    askings = [
        asking_for_slot(view.slot, worker=worker, start=start, end=end)
        for view, of_place in zip(views, windows, strict=True)
        for worker, (start, end) in of_place.items()
    ]
    compared = iter(compare_all(askings, known_at=known_at, now=now))
    return CrewAsKnown(
        job=job,
        at=day_instant,
        known_at=known_at,
        now_at=now,
        not_planned_yet=_not_planned_yet(job, known_at, zone),
        replaced=_replaced(job, zone),
        places=tuple(
            replace(view, comparisons=tuple(islice(compared, len(of_place))))
            for view, of_place in zip(views, windows, strict=True)
        ),
        rules_then=_rules(crew, known_at),
        rules_now=_rules(crew, now),
    )


def _place_in_both_views(
    crew: CrewOnRecord, slot: Slot, day_instant: datetime, known_at: datetime, now: datetime
) -> PlaceAsKnown:
    """A place without what is to be said about the people in it."""
    mine = [each for each in crew.assignments if each.slot_id == slot.pk]
    then = _in_place(mine, crew.events, at=day_instant, known_at=known_at)
    by_now = _in_place(mine, crew.events, at=day_instant, known_at=now)
    concerned = {each.assignment for each in (*then, *by_now)}
    zone = ZoneInfo(crew.job.site.time_zone)
    since = _since(mine, crew.events, concerned, day_instant, known_at, zone)
    return PlaceAsKnown(slot=slot, then=then, now=by_now, since=since, comparisons=())


def _rules(crew: CrewOnRecord, known_at: datetime) -> Rules:
    try:
        return Rules(crew_rules_as_known(crew, known_at=known_at))
    except BadInput:
        return Rules((), _("No version of the role standard was in force, by what was known."))


def _in_place(
    assignments: list[Assignment], events: dict[int, list[AssignmentEvent]], *, at: datetime, known_at: datetime
) -> tuple[InPlace, ...]:
    """Who was in the place at ``at`` by what was recorded by ``known_at``."""
    found = []
    for each in assignments:
        if each.assigned_at > known_at or not each.start <= at < each.end:
            continue
        standing, reason = "standing", ""
        for event in events.get(each.pk, ()):
            # Who has left stays gone, whatever else was recorded of the rest of their time.
            if event.recorded_at <= known_at and event.happened_at <= at and standing != "ended":
                standing = "standing" if event.kind == "confirmed" else event.kind
                reason = readable_reason(event.reason, {f"worker:{each.worker_id}": str(each.worker)})
        if standing != "ended":
            found.append(
                InPlace(
                    assignment=each.pk,
                    worker=each.worker,
                    standing=standing,
                    reason=reason,
                    start=each.start,
                    end=each.end,
                    assigned_at=each.assigned_at,
                )
            )
    return tuple(found)


def _since(
    assignments: list[Assignment],
    events: dict[int, list[AssignmentEvent]],
    concerned: set[int],
    at: datetime,
    known_at: datetime,
    zone: ZoneInfo,
) -> tuple[WhatCameSince, ...]:
    found = []
    for each in assignments:
        if each.pk not in concerned:
            continue
        if each.assigned_at > known_at:
            sentence = _("%(who)s was put into this place; recorded %(instant)s.") % {
                "who": each.worker,
                "instant": instant_in_words(each.assigned_at, zone),
            }
            found.append(WhatCameSince(each.assigned_at, each.worker_id, sentence))
        for event in events.get(each.pk, ()):
            if event.recorded_at > known_at and event.happened_at <= at:
                told = EVENTS[event.kind] % {
                    "who": each.worker,
                    "from": instant_in_words(event.happened_at, zone),
                    "instant": instant_in_words(event.recorded_at, zone),
                }
                reason = readable_reason(event.reason, {f"worker:{each.worker_id}": str(each.worker)})
                sentence = f"{told} {reason}".strip()
                found.append(WhatCameSince(event.recorded_at, each.worker_id, sentence))
    return tuple(sorted(found, key=lambda each: each.recorded_at))


EVENTS = {
    "held": gettext_lazy("%(who)s was held from %(from)s on; recorded %(instant)s."),
    "confirmed": gettext_lazy("%(who)s was confirmed from %(from)s on; recorded %(instant)s."),
    "ended": gettext_lazy("%(who)s left this place at %(from)s; recorded %(instant)s."),
}


def _not_planned_yet(job: Job, known_at: datetime, zone: ZoneInfo) -> str:
    if job.recorded_at <= known_at:
        return ""
    return _("The register did not know this plan at that instant: recorded %(instant)s.") % {
        "instant": instant_in_words(job.recorded_at, zone)
    }


def _replaced(job: Job, zone: ZoneInfo) -> str:
    later: Job | None = getattr(job, "superseded_by", None)
    if later is None:
        return ""
    sentence = (
        _("This plan was withdrawn; recorded %(instant)s.")
        if later.withdrawn
        else _("This plan was replaced by job %(number)s; recorded %(instant)s.")
    )
    return sentence % {"number": later.pk, "instant": instant_in_words(later.recorded_at, zone)}


def _standing(people: tuple[InPlace, ...]) -> list[tuple[int, str]]:
    return [(each.assignment, each.standing) for each in people]


def _place_seen_by(place: PlaceAsKnown, visible: set[int], whole_crew: bool) -> PlaceAsKnown:
    seen = replace(
        place,
        comparisons=tuple(each.seen_by(visible) for each in place.comparisons if each.asking.worker in visible),
    )
    if whole_crew:
        return seen
    return replace(
        seen,
        then=tuple(each for each in seen.then if each.worker.pk in visible),
        now=tuple(each for each in seen.now if each.worker.pk in visible),
        since=tuple(each for each in seen.since if each.worker in visible),
    )


def _in_place_json(one: InPlace) -> dict[str, Any]:
    return {
        "assignment": one.assignment,
        "worker": one.worker.pk,
        "worker_name": str(one.worker),
        "standing": one.standing,
        "reason": one.reason,
        "start": one.start.isoformat(),
        "end": one.end.isoformat(),
        "assigned_at": one.assigned_at.isoformat(),
    }
