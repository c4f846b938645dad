from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connections
from django.utils import timezone

from registry.database import data_folder, identity, in_force
from registry.database.models import Register
from registry.database.router import OWNER_ALIAS

# Any number will do, as long as nothing else in the database takes it.
PREPARING_LOCK = 1926_1430


class Command(BaseCommand):
    help = "Bring the database's schema and the role standards up to date."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--new", action="store_true", help="begin a new register, where there is none")

    def handle(self, *args: Any, new: bool, **options: Any) -> None:
        if new:
            identity.begin_if_new()
        with alone():
            if new and has_begun():
                raise CommandError("A register has begun there already: run prepare without --new.")
            bring_up_to_date(demonstration=False, verbosity=options["verbosity"])


@contextmanager
def alone() -> Iterator[None]:
    """One process at a time prepares a database; others wait here."""
    with connections[OWNER_ALIAS].cursor() as owner:
        owner.execute("SELECT pg_advisory_lock(%s)", [PREPARING_LOCK])
    try:
        yield
    finally:
        with connections[OWNER_ALIAS].cursor() as owner:
            owner.execute("SELECT pg_advisory_unlock(%s)", [PREPARING_LOCK])


def has_begun() -> bool:
    """Whether the database holds a register; for the owner, who may be the first to come."""
    owner = connections[OWNER_ALIAS]
    with owner.cursor() as cursor:
        there = Register._meta.db_table in owner.introspection.table_names(cursor)
    return there and Register.objects.using(OWNER_ALIAS).exists()


def bring_up_to_date(*, demonstration: bool, verbosity: int) -> None:
    """Migrate, begin the register where this process may, load the role standards.

    Raises :class:`CommandError` where the database then is not as this version needs it.
    """
    call_command("migrate", interactive=False, verbosity=verbosity)
    if not has_begun():
        number = data_folder.register().number
        Register.objects.using(OWNER_ALIAS).create(number=number, demonstration=demonstration, begun_at=timezone.now())
        data_folder.change(begun=True)
    call_command("load_standards", verbosity=verbosity)
    require_guards()


def require_guards() -> None:
    """Raise :class:`CommandError` where what guards the records is not what this version needs."""
    with connections[OWNER_ALIAS].cursor() as owner:
        if found := in_force.differing(owner):
            raise CommandError(in_force.sentence(found))
