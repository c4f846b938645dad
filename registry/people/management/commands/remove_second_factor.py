from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from registry.people.models import Account
from registry.people.second_factor import remove_second_factors


class Command(BaseCommand):
    help = (
        "Remove the authenticators of somebody who has lost them; make sure first that it is that person who asks. "
        "They are told by mail, and sign nothing until they have set up another."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("username")

    def handle(self, *args: Any, username: str, **options: Any) -> None:
        account = Account.objects.filter(username=username).first()
        if account is None:
            raise CommandError(f"There is no account {username!r}.")
        removed = remove_second_factors(account=account, removed_at=timezone.now())
        self.stdout.write(f"{removed} authenticators of {username} are removed.")
