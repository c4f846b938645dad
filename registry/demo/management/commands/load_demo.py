from collections.abc import Iterator
from contextlib import contextmanager
from io import StringIO
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connections, transaction
from django.utils import timezone

from registry.database.models import Register
from registry.demo import scenario
from registry.people.models import Employer


class Command(BaseCommand):
    help = "Load the invented demonstration scenario, unless it is there already."

    def handle(self, *args: Any, **options: Any) -> None:
        if Register.objects.filter(demonstration=False).exists():
            raise CommandError("This is a real register: the demonstration is never loaded into one.")
        if Employer.objects.filter(name=scenario.EMPLOYER).exists():
            scenario.enrol_accounts()
            self.stdout.write("The demonstration is there already.")
            return
        call_command("load_standards", stdout=StringIO())
        with _the_past_may_be_recorded(), transaction.atomic():
            scenario.load(now=timezone.now())
            scenario.enrol_accounts()
        self.stdout.write("The demonstration is loaded.")


@contextmanager
def _the_past_may_be_recorded() -> Iterator[None]:
    """Records of years ago are recorded years ago: only the owner may allow that, and only for so long."""
    with connections["owner"].cursor() as owner:
        owner.execute("SELECT recorded_at_tolerance FROM database_policy")
        (before,) = owner.fetchone()
        owner.execute("UPDATE database_policy SET recorded_at_tolerance = NULL")
    try:
        yield
    finally:
        with connections["owner"].cursor() as owner:
            owner.execute("UPDATE database_policy SET recorded_at_tolerance = %s", [before])
