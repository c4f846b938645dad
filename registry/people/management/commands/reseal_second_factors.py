from typing import Any

from django.core.management.base import BaseCommand

from registry.people.second_factor import reseal_second_factors


class Command(BaseCommand):
    help = "After a change of SECRET_KEY: seal the secrets of second factors under the new key (see DEVELOPERS.md)."

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(f"{reseal_second_factors()} authenticators are sealed under the key of today.")
