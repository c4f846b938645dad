"""``manage.py as_known_at``: a question as of a past instant beside the same question now."""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from registry.crews.models import Job, Slot
from registry.crews.queries import asking_for_slot, slot_with_job
from registry.database.errors import RecordRefused
from registry.engine.bad_input import BadInput
from registry.inspection.as_known import compare, parse_instant
from registry.inspection.crew_as_known import crew_as_known
from registry.inspection.render import comparison_text, crew_text
from registry.people.models import Worker


class Command(BaseCommand):
    help = (
        "What the register knew at a past instant about somebody in a place on a crew, beside what it knows now, and "
        "the records that make the difference. Without --worker: about the whole crew of --job at --during."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        place = parser.add_mutually_exclusive_group(required=True)
        place.add_argument("--slot", type=int, help="the place on the crew, by number")
        place.add_argument("--job", type=int, help="the job, by number; an earlier plan too")
        parser.add_argument("--role", help="with --job and --worker: the role on its crew, such as erector")
        parser.add_argument("--worker", help="the worker's number, such as W-000123")
        parser.add_argument("--at", required=True, help="the past instant, such as 2026-05-01T07:30+02:00")
        parser.add_argument("--during", help="with --job alone: the instant of the work")
        parser.add_argument("--json", action="store_true", help="answer in JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            found, text = self._asked(options)
        except (RecordRefused, BadInput) as error:
            raise CommandError(str(error)) from None
        if options["json"]:
            self.stdout.write(json.dumps(found, indent=2, ensure_ascii=False))
        else:
            self.stdout.write(text, ending="")

    def _asked(self, options: dict[str, Any]) -> tuple[dict[str, Any], str]:
        now = timezone.now()
        known_at = parse_instant(options["at"], field="at")
        if options["worker"] is None:
            if options["job"] is None or options["during"] is None:
                raise CommandError("Say --worker, or --job with --during for its whole crew.")
            during = parse_instant(options["during"], field="during")
            crew = crew_as_known(self._job(options["job"]), day_instant=during, known_at=known_at, now=now)
            return crew.as_json(), crew_text(crew)
        worker = Worker.objects.filter(number=options["worker"]).first()
        if worker is None:
            raise CommandError(f"There is no worker {options['worker']}.")
        slot = self._slot(options)
        asking = asking_for_slot(slot, worker=worker.pk, start=slot.job.start, end=slot.job.end)
        comparison = compare(asking, known_at=known_at, now=now)
        return comparison.as_json(), comparison_text(comparison)

    def _job(self, number: int) -> Job:
        job = Job.objects.filter(pk=number).first()
        if job is None:
            raise CommandError(f"There is no job {number}.")
        return job

    def _slot(self, options: dict[str, Any]) -> Slot:
        if options["slot"] is not None:
            slots, named = Slot.objects.filter(pk=options["slot"]), f"place {options['slot']}"
        else:
            if options["role"] is None:
                raise CommandError("Say --role with --job.")
            # Every place of one role asks the same.
            slots = self._job(options["job"]).slots.filter(role=options["role"]).order_by("id")
            named = f"place for the role {options['role']} on job {options['job']}"
        slot = slots.first()
        if slot is None:
            raise CommandError(f"There is no {named}.")
        return slot_with_job(slot.pk)
