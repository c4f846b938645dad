from collections.abc import Iterator
from datetime import datetime
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.db.models import QuerySet
from django.utils import timezone

from registry.people.models import Employment, Worker
from registry.retention.erasure import erased_workers
from registry.retention.kept import KeptRecord, in_assignments, periods_of
from registry.retention.numbers import worker_numbered

BATCH = 500


class Command(BaseCommand):
    help = "List what must be kept about each worker and until when, and who is due for erasure."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--worker", metavar="NUMBER", help="this worker alone, record by record")
        parser.add_argument("--jurisdiction", help="workers of employers there alone, such as US")
        parser.add_argument("--due", action="store_true", help="only those whose last period has run out")

    def handle(self, *args: Any, worker: str | None, jurisdiction: str | None, due: bool, **options: Any) -> None:
        now = timezone.now()
        if worker is not None:
            self._one(worker_numbered(worker), now)
            return
        workers = Worker.objects.order_by("id")
        if jurisdiction is not None:
            workers = workers.filter(
                pk__in=Employment.objects.filter(employer__jurisdiction=jurisdiction).values("worker")
            )
        for batch in _batches(workers):
            numbers = [each.pk for each in batch]
            periods, erased = periods_of(numbers), erased_workers(numbers)
            assigned = {each.worker_id for each in in_assignments(numbers, now)}
            for each in batch:
                kept = [record for record in periods[each.pk] if record.must_be_kept(now)]
                is_due = not kept and each.pk not in assigned and each.pk not in erased
                if is_due or not due:
                    self.stdout.write(f"{each.number}  {_standing(kept, each.pk in assigned, each.pk in erased)}")

    def _one(self, worker: Worker, now: datetime) -> None:
        records = periods_of([worker.pk])[worker.pk]
        for record in records:
            mark = "keep" if record.must_be_kept(now) else "due "
            self.stdout.write(f"{mark}  {record}")
        kept = [record for record in records if record.must_be_kept(now)]
        assigned = bool(in_assignments([worker.pk], now))
        self.stdout.write(f"{worker.number}  {_standing(kept, assigned, bool(erased_workers([worker.pk])))}")


def _standing(kept: list[KeptRecord], assigned: bool, erased: bool) -> str:
    if erased:
        return "erased"
    if assigned:
        return "in an assignment"
    if not kept:
        return "due for erasure"
    if any(each.keep_until is None for each in kept):
        return f"{len(kept)} records kept, some while their end is open"
    return f"{len(kept)} records kept, the last through {max(each.keep_until for each in kept if each.keep_until)}"


def _batches(workers: QuerySet[Worker]) -> Iterator[list[Worker]]:
    """The workers by identifier, some hundred at a time."""
    last = 0
    while batch := list(workers.filter(pk__gt=last)[:BATCH]):
        yield batch
        last = batch[-1].pk
