from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from registry.database.errors import RecordRefused
from registry.evidence.corrections import employer_answerable_for, latest_version, withdraw_with_reason
from registry.evidence.models import Assessment, CertificationStatus, Instruction, StandDown
from registry.people.registrars import registrar_named

KINDS = {
    "stand-down": StandDown,
    "certificate-status": CertificationStatus,
    "assessment": Assessment,
    "retraining": Instruction,
}


class Command(BaseCommand):
    help = (
        "Take back a stand-down, a suspension, a revocation or a 'not yet competent' that should never have been "
        "recorded, or what ended one. Ask for proof first: the register keeps who was refused by it, and the reason "
        "you give."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("kind", choices=list(KINDS))
        parser.add_argument("number", type=int, help="the record's number, as the log names it")
        parser.add_argument("--as", dest="registrar", required=True, metavar="NAME", help="your own account")
        parser.add_argument("--because", required=True, metavar="REASON")

    def handle(self, *args: Any, kind: str, number: int, registrar: str, because: str, **options: Any) -> None:
        record = KINDS[kind].objects.filter(pk=number).first()
        if record is None:
            raise CommandError(f"There is no {kind} {number}.")
        now, latest = timezone.now(), latest_version(record)
        if latest.withdrawn:
            raise CommandError(f"{kind} {number} has been taken back already.")
        try:
            withdraw_with_reason(
                record=latest,
                reason=because,
                employer=employer_answerable_for(latest, on=now),
                recorded_at=now,
                recorded_by=registrar_named(registrar),
            )
        except RecordRefused as refused:
            raise CommandError(str(refused)) from refused
        self.stdout.write(f"{kind} {number} of {latest.worker} is taken back. The record itself stays.")
