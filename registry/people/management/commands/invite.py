from datetime import timedelta
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.urls import reverse
from django.utils import timezone

from registry.database.errors import RecordRefused
from registry.people import invitations
from registry.people.models import Account, Employer, Worker
from registry.people.registrars import registrar_named


class Command(BaseCommand):
    help = "Invite somebody to open an account; prints the link, once."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--kind", required=True, choices=Account.KINDS)
        parser.add_argument("--employer", metavar="NAME", help="the employer a dispatcher works for")
        parser.add_argument("--worker", metavar="NUMBER", help="the worker the account is for, such as W-000012")
        parser.add_argument("--as", dest="registrar", metavar="NAME", help="your account, once there is a registrar")
        parser.add_argument("--days", type=int, default=invitations.VALID_FOR.days, help="how long the link opens")
        parser.add_argument("--address", default="http://localhost:8000", help="where people reach this registry")

    def handle(
        self,
        *args: Any,
        kind: str,
        employer: str | None,
        worker: str | None,
        registrar: str | None,
        days: int,
        address: str,
        **options: Any,
    ) -> None:
        try:
            made = invitations.invite(
                kind=kind,
                employer=_named(employer),
                worker=_numbered(worker),
                invited_by=registrar_named(registrar),
                printed=True,
                invited_at=timezone.now(),
                valid_for=timedelta(days=days),
            )
        except RecordRefused as refused:
            raise CommandError(str(refused)) from refused
        link = address.rstrip("/") + reverse("follow_invitation", kwargs={"token": made.token})
        self.stdout.write(f"This link opens one account, once, until {made.invitation.expires_at:%Y-%m-%d %H:%M} UTC:")
        self.stdout.write(link)


def _named(name: str | None) -> Employer | None:
    if name is None:
        return None
    found = Employer.objects.filter(name=name).first()
    if found is None:
        raise CommandError(f"There is no employer named {name!r}.")
    return found


def _numbered(number: str | None) -> Worker | None:
    if number is None:
        return None
    found = Worker.objects.filter(number=number).first()
    if found is None:
        raise CommandError(f"There is no worker {number}.")
    return found
