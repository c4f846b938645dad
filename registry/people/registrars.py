"""Who acts as the registrar: an open account of that kind, by its name. An act without a name is nobody's."""

from __future__ import annotations

from registry.database.errors import RecordRefused, broken
from registry.people.models import Account


def is_registrar(account: Account | None) -> bool:
    """Whether the account may do what only the registrar does."""
    return account is not None and account.is_active and account.kind == "registrar"


def registrar_named(username: str | None) -> Account | None:
    """The registrar of this user name, who acts at the machine; ``None`` where no name is given.

    Raises :class:`RecordRefused` where the name is not a registrar's with an open account.
    """
    if username is None:
        return None
    found = Account.objects.filter(username=username, kind="registrar", is_active=True).first()
    if found is None:
        raise RecordRefused([broken("an_act_of_the_registrar_names_the_registrar")])
    return found
