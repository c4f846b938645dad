from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from registry.database.errors import RecordRefused
from registry.people.closing import close_account
from registry.people.models import Account
from registry.people.registrars import registrar_named


class Command(BaseCommand):
    help = "Close an account at once and for good; whoever comes back is invited anew."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("username")
        parser.add_argument("--as", dest="registrar", metavar="NAME", help="your account, once there is a registrar")
        parser.add_argument("--because", required=True, metavar="REASON", help="kept on record, beside who and when")

    def handle(self, *args: Any, username: str, registrar: str | None, because: str, **options: Any) -> None:
        account = Account.objects.filter(username=username).first()
        if account is None:
            raise CommandError(f"There is no account {username!r}.")
        try:
            closer = registrar_named(registrar)
            close_account(account=account, closed_at=timezone.now(), closed_by=closer, reason=because)
        except RecordRefused as refused:
            raise CommandError(str(refused)) from refused
        self.stdout.write(f"The account {username} is closed.")
