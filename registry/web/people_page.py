"""What the list of people and the outlook show: who is on the books, and what of theirs runs out when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import cast

from django.core.paginator import Page, Paginator
from django.db.models import QuerySet

from registry.evidence.running_out import SOON, RunsOut, first_to_run_out
from registry.people.finding import named
from registry.people.models import Worker

AHEAD = timedelta(days=90)
"""What runs out within this time is told in the list."""
PER_PAGE = 50


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody on the list, with the first of their papers to run out within 90 days, if one does."""

    worker: Worker
    runs_out: RunsOut | None


class _SoonestFirst:
    """Those whose papers run out, soonest first, then everybody else by name: read a page at a time.

    It is as much of a sequence as a paginator needs.
    """

    def __init__(self, people: QuerySet[Worker], running: dict[int, RunsOut]) -> None:
        self.running = running
        self.soonest = sorted(running.values(), key=lambda each: (each.day, each.worker_id))
        self.all = people
        self.others = people.exclude(pk__in=list(running)).order_by("family_name", "given_name", "id")

    def __len__(self) -> int:
        return self.all.count()

    def __getitem__(self, part: slice) -> list[Person]:
        first, last = part.start or 0, part.stop if part.stop is not None else len(self)
        soon = self.soonest[first:last]
        workers = self.all.in_bulk([each.worker_id for each in soon])
        found = [Person(workers[each.worker_id], each) for each in soon]
        before = len(self.soonest)
        rest = self.others[max(first - before, 0) : max(last - before, 0)]
        return found + [Person(each, None) for each in rest]


@dataclass(frozen=True, slots=True)
class PeopleList:
    """A page of the list. ``running_out`` of ``number`` people have papers that run out within 90 days."""

    page: Page[Person]
    number: int
    running_out: int
    within_30_days: int


def people_list(
    people: QuerySet[Worker], *, employed: QuerySet[Worker], query: str, today: date, page: str | None
) -> PeopleList:
    """The people found by ``query``, soonest to run out first; what runs out is told of those ``employed`` now.

    A fixed number of statements, whatever the number of people.
    """
    for word in query.split():
        people, employed = people.filter(named(word)), employed.filter(named(word))
    running = first_to_run_out(employed, since=today, until=today + AHEAD)
    soonest_first = cast(Sequence[Person], _SoonestFirst(people, running))
    paginator = Paginator(soonest_first, PER_PAGE)
    soon = sum(each.day <= today + SOON for each in running.values())
    return PeopleList(paginator.get_page(page), paginator.count, len(running), soon)


@dataclass(frozen=True, slots=True)
class MonthBar:
    """A month in the drawing: how many papers run out, by kind, and the bar's share of the tallest."""

    month: date
    certifications: int
    appointments: int
    employments: int
    share: float

    @property
    def number(self) -> int:
        """All of them."""
        return self.certifications + self.appointments + self.employments


def month_bars(months: dict[date, dict[str, int]]) -> list[MonthBar]:
    """The months of :func:`registry.evidence.running_out.running_out_by_month`, ready to be drawn."""
    tallest = max([1, *(sum(kinds.values()) for kinds in months.values())])
    return [
        MonthBar(
            month,
            kinds["certification"],
            kinds["appointment"],
            kinds["employment"],
            sum(kinds.values()) / tallest,
        )
        for month, kinds in months.items()
    ]
