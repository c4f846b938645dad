"""Who may fill a place, permitted ones first, and of the others what each lacks.

Nothing is recorded: a decision is made when somebody is put into the place.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from registry.crews.models import AssignmentState, Slot
from registry.crews.queries import answers, asking_for_slot, employed_throughout, standard_for
from registry.crews.sieve import Missing, Sieve
from registry.database.readers import as_the_register
from registry.engine.answer import Decision as Answer
from registry.engine.bad_input import BadInput
from registry.engine.crew import SUPERVISOR
from registry.language.amounts import duration
from registry.language.said import authored, leaf_in_language, spoken
from registry.people.finding import named
from registry.people.models import Worker

MOST_REFUSED = 20
"""So many of the refused are told; a search narrows the list."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """Somebody for a place.

    ``holds_until`` is for the permitted (``None``: no end in sight), ``lacks`` for the refused:
    a sentence for each requirement the refusal rests on. ``busy`` says on which crew and as what
    the person is at that time already, or is empty.
    """

    worker: Worker
    holds_until: datetime | None = None
    lacks: tuple[str, ...] = ()
    busy: str = ""


@dataclass(frozen=True, slots=True)
class Candidates:
    """``elsewhere`` would be permitted, were they not in another place then that they cannot fill as well.

    ``undecided`` may be permitted or not: no more than so many are asked about at a time.
    ``more`` refused people are left off the list.
    """

    permitted: list[Candidate]
    elsewhere: list[Candidate]
    refused: list[Candidate]
    undecided: list[Candidate]
    more: int

    def without(self, worker_id: int) -> Candidates:
        """The others: whoever leaves a place is no candidate for it."""
        permitted, elsewhere, refused, undecided = (
            [each for each in part if each.worker.pk != worker_id]
            for part in (self.permitted, self.elsewhere, self.refused, self.undecided)
        )
        return Candidates(permitted, elsewhere, refused, undecided, self.more)


# Those asked about are the employer's own, and one statement weighs all of them: no row needs to be judged again.
@as_the_register()
def candidates_for(slot: Slot, *, start: datetime, end: datetime, query: str = "", most: int = 12) -> Candidates:
    """Who of the employer's people may fill ``slot`` over ``[start, end)``, as the engine would decide.

    ``query`` narrows by words of names and numbers; the engine is asked about at most ``most``.
    Those who are free go first. A fixed number of statements. Raises
    :class:`~registry.engine.bad_input.BadInput` where no standard is in force.
    """
    asking = asking_for_slot(slot, worker=0, start=start, end=end)
    _version, standard = standard_for(asking)
    role = standard.by_role_and_operation.get((slot.role, slot.job.operation))
    if role is None:
        message = _("The role standard says nothing of this role in this operation.")
        raise BadInput("$.question.role", message)
    sieve = Sieve(role, slot.job, start, end)
    met = sieve.met(list(_employed(slot, start, end, query)))
    lacking = {worker: sieve.missing(each) for worker, each in met.items()}
    out = sorted((each for each, missing in lacking.items() if missing), key=lambda each: len(lacking[each]))
    may_be = [each for each, missing in lacking.items() if not missing]
    # Of those who are out already only so many are told about their hours too.
    minutes = sieve.minutes([*may_be, *out[:MOST_REFUSED]])
    full = {each: sieve.missing(met[each], minutes[each.pk]) for each in met if each.pk in minutes}
    likely = [each for each in may_be if not full[each]]
    busy, taken = _busy(full, slot, start, end)
    likely.sort(key=lambda worker: (worker.pk in taken, worker.pk in busy))
    asked, left = likely[:most], likely[most:]
    given = answers([asking_for_slot(slot, worker=each.pk, start=start, end=end) for each in asked], standard)
    permitted = [
        Candidate(each, holds_until=given[each.pk].holds_until, busy=busy.get(each.pk, ""))
        for each in asked
        if given[each.pk].permitted
    ]
    refused = {each: _lacks(given[each.pk]) for each in asked if not given[each.pk].permitted}
    refused |= {each: tuple(map(_told, missing)) for each, missing in full.items() if missing}
    shown = sorted(refused, key=lambda each: len(refused[each]))[:MOST_REFUSED]
    return Candidates(
        permitted=[each for each in permitted if each.worker.pk not in taken],
        elsewhere=[each for each in permitted if each.worker.pk in taken],
        refused=[Candidate(each, lacks=refused[each], busy=busy.get(each.pk, "")) for each in shown],
        undecided=[Candidate(each, busy=busy.get(each.pk, "")) for each in left],
        more=len(met) - len(permitted) - len(left) - len(shown),
    )


def _employed(slot: Slot, start: datetime, end: datetime, query: str) -> QuerySet[Worker]:
    people = employed_throughout(slot.job, start, end)
    for word in query.split():
        people = people.filter(named(word))
    return people.order_by("family_name", "given_name", "id")


def _told(missing: Missing) -> str:
    leaf = missing.leaf
    if missing.at_most is None:
        return authored(leaf.sentence)
    return _("%(sentence)s: at most %(found)s on record, %(required)s needed") % {
        "sentence": authored(leaf.sentence),
        "found": duration(missing.at_most),
        "required": duration(leaf.minimum),  # type: ignore[attr-defined]
    }


def _lacks(given: Answer) -> tuple[str, ...]:
    """A sentence for each requirement that the refusal rests on."""
    unmet = [leaf_in_language(each) for each in given.requirements if each.needed and not each.met]
    return (
        *map(spoken, given.objections),
        *(_("%(sentence)s: %(lack)s") % {"sentence": each.sentence, "lack": each.shortfall} for each in unmet),
    )


def _busy(people: Iterable[Worker], slot: Slot, start: datetime, end: datetime) -> tuple[dict[int, str], set[int]]:
    """Who of them is on a crew already in that time, and as what; and whom that keeps from this place: one statement.

    The rules are constraints on :class:`AssignmentState`; here they are only foreseen.
    """
    there = AssignmentState.objects.filter(
        worker__among=[each.pk for each in people], during__overlap=(start, end)
    ).exclude(standing="ended")
    found, taken = {}, set()
    for each in there.select_related("slot", "job__site").order_by("job_id", "slot_id"):
        if each.job_id != slot.job_id or each.role == slot.role or SUPERVISOR in (each.role, slot.role):
            taken.add(each.worker_id)
        if each.slot_id == slot.pk:
            found[each.worker_id] = _("is in this place already")
        elif each.job_id == slot.job_id:
            found[each.worker_id] = _("is on this crew already: %(role)s") % {"role": each.slot.get_role_display()}
        elif each.job.employer_id == slot.job.employer_id:
            found[each.worker_id] = _("is on another job then: %(site)s") % {"site": each.job.site}
        else:
            # Where another employer works is that employer's own affair.
            found[each.worker_id] = _("This person is on another job at that time.")
    return found, taken
