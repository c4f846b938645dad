from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand


class Command(BaseCommand):
    help = "Bring the database's schema and the role standards up to date."

    def handle(self, *args: Any, **options: Any) -> None:
        call_command("migrate", interactive=False, verbosity=options["verbosity"])
        call_command("load_standards", verbosity=options["verbosity"])
