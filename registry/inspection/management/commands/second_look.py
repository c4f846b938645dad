"""``manage.py second_look``: lines worth a second look, rule by rule."""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from registry.crews.models import Job
from registry.inspection.pointers import NO_ACCUSATION, second_look, workers_of_employer, workers_of_job
from registry.inspection.render import pointers_text
from registry.people.models import Employer, Worker


class Command(BaseCommand):
    help = f"{NO_ACCUSATION} Looks at one worker, an employer's people, a job's crew, or the whole register."

    def add_arguments(self, parser: CommandParser) -> None:
        whom = parser.add_mutually_exclusive_group()
        whom.add_argument("--worker", help="the worker's number, such as W-000123")
        whom.add_argument("--employer", help="the employer's name: everybody employed there, now or before")
        whom.add_argument("--job", type=int, help="the job's number: everybody who was put on its crew")
        parser.add_argument("--limit", type=int, default=100, help="at most so many pointers a rule (100)")
        parser.add_argument("--json", action="store_true", help="answer in JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["limit"] < 1:
            raise CommandError("The limit is at least 1.")
        rules = second_look(workers=self._workers(options), limit=options["limit"])
        if options["json"]:
            said = {"note": str(NO_ACCUSATION), "rules": [each.as_json() for each in rules]}
            self.stdout.write(json.dumps(said, indent=2, ensure_ascii=False))
        else:
            self.stdout.write(pointers_text(rules), ending="")

    def _workers(self, options: dict[str, Any]) -> set[int] | None:
        if options["worker"] is not None:
            worker = Worker.objects.filter(number=options["worker"]).first()
            if worker is None:
                raise CommandError(f"There is no worker {options['worker']}.")
            return {worker.pk}
        if options["employer"] is not None:
            employer = Employer.objects.filter(name=options["employer"]).first()
            if employer is None:
                raise CommandError(f"There is no employer {options['employer']!r}.")
            return workers_of_employer(employer.pk)
        if options["job"] is not None:
            if not Job.objects.filter(pk=options["job"]).exists():
                raise CommandError(f"There is no job {options['job']}.")
            return workers_of_job(options["job"])
        return None
