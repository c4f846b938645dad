"""Who may enter equipment: the registrar all of it, an employer what it plans its jobs on.

Makers, models and families say what hours count for, so no employer names them.
"""

from __future__ import annotations

from django.utils.translation import gettext as _

from registry.crews.access import NotAllowed
from registry.equipment.models import CranePlacement
from registry.people.models import Account


def sees_equipment(account: Account) -> bool:
    """Whether the account may look at the lists of equipment."""
    return account.kind in ("registrar", "employer", "inspector")


def enters_models(account: Account) -> bool:
    """Whether the account may enter makers, crane models and families."""
    return account.kind == "registrar"


def enters_cranes(account: Account) -> bool:
    """Whether the account may enter sites and cranes, and where a crane stands."""
    return account.kind in ("registrar", "employer")


def changes_placement(account: Account, placement: CranePlacement) -> bool:
    """Whether the account may end or correct the record: the registrar, and the employer whose record it is."""
    by = placement.recorded_by
    own = by is not None and account.kind == "employer" and by.employer_id == account.employer_id
    return account.kind == "registrar" or own


def require_sees_equipment(account: Account) -> None:
    """Raise :class:`NotAllowed` for a worker."""
    if not sees_equipment(account):
        raise NotAllowed(_("The list of equipment is for employers, inspectors and the registrar."))


def require_enters_models(account: Account) -> None:
    """Raise :class:`NotAllowed` for everybody but the registrar."""
    if not enters_models(account):
        raise NotAllowed(_("Only the registrar enters makers, crane models and families."))


def require_enters_employers(account: Account) -> None:
    """Raise :class:`NotAllowed` for everybody but the registrar."""
    if account.kind != "registrar":
        raise NotAllowed(_("Only the registrar enters employers."))


def require_enters_cranes(account: Account) -> None:
    """Raise :class:`NotAllowed` for workers and inspectors."""
    if not enters_cranes(account):
        raise NotAllowed(_("Only an employer or the registrar enters sites and cranes."))


def require_changes_placement(account: Account, placement: CranePlacement) -> None:
    """Raise :class:`NotAllowed` where somebody else recorded where the crane stands."""
    if not changes_placement(account, placement):
        raise NotAllowed(
            _("Somebody else recorded where this crane stands: ask them, or the registrar, to correct it.")
        )
