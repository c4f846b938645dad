"""A log never signs a second history: what is signed goes on from whatever was signed or verified before.

Compared are the roots at the sizes that this machine's mirror and the database remember, as the leaves lead to them
now. Each takes a few reads, however long the log is.
"""

from __future__ import annotations

from django.utils.translation import gettext as _

from registry.ledger.mirror import Mirror
from registry.ledger.models import Checkpoint
from registry.ledger.notes import CheckpointText, NoteRefused
from registry.ledger.tree import EMPTY, HashOf


class CannotSign(RuntimeError):
    """Why nothing was signed, in words for a person."""


class SecondHistory(CannotSign):
    """What would be signed does not go on from what was signed or verified before."""


class Memory:
    """What ``mirror`` remembers of checkpoints, and whether the log named ``origin`` goes on from it."""

    def __init__(self, mirror: Mirror, origin: str) -> None:
        self.mirror = mirror
        self.origin = origin

    def require_growth(self, size: int, hash_of: HashOf[bytes], newest: Checkpoint | None) -> None:
        """Raise :class:`SecondHistory` unless the log of ``size`` leaves goes on from every checkpoint remembered.

        ``newest`` is the newest checkpoint in the database.
        """
        signed, verified = _read(self.mirror.signed), _read(self.mirror.checkpoint)
        remembered = [each for each in (signed, verified) if each is not None]
        if newest is not None and not remembered:
            raise SecondHistory(
                _(
                    "Nothing was signed: the log was signed before, up to %(leaves)s leaves, and this machine's mirror "
                    "remembers none of it. Restore the mirror with the data folder; where it is lost for good, or this "
                    "machine is new to the register, run “manage.py verify”, with the checkpoints that were kept "
                    "elsewhere. A log that it finds in order is remembered and signed from then on."
                )
                % {"leaves": newest.size}
            )
        if signed is not None and signed.origin != self.origin:
            raise SecondHistory(
                _("Nothing was signed: the log's name was %(before)s and would now be %(now)s.")
                % {"before": signed.origin, "now": self.origin}
            )
        for each in remembered:
            _require_growth_from(each, size, hash_of)
        if newest is not None and _root(newest.size, hash_of) != bytes(newest.root):
            raise _second(_("the newest checkpoint in the database"), newest.size)

    def remember(self, note: str) -> None:
        """Remember a checkpoint before anybody else has it."""
        self.mirror.remember_signed(note)


def _read(note: str | None) -> CheckpointText | None:
    if note is None:
        return None
    try:
        return CheckpointText.parse(note.rpartition("\n\n")[0] + "\n")
    except (NoteRefused, ValueError) as error:
        raise SecondHistory(
            _("Nothing was signed: a checkpoint in this machine's mirror is damaged. Restore the mirror.")
        ) from error


def _require_growth_from(before: CheckpointText, size: int, hash_of: HashOf[bytes]) -> None:
    if before.size > size:
        raise SecondHistory(
            _(
                "Nothing was signed: the log in the database has %(leaves)s leaves, and a checkpoint of %(before)s "
                "leaves was signed or verified before (%(when)s UTC). The database is older than that, or something "
                "was removed. Run “manage.py verify”, and see “Restoring a backup” in DEVELOPERS.md."
            )
            % {"leaves": size, "before": before.size, "when": f"{before.signed_at:%Y-%m-%d %H:%M}"}
        )
    if _root(before.size, hash_of) != before.root:
        raise _second(_("a checkpoint that was signed or verified before"), before.size)


def _root(size: int, hash_of: HashOf[bytes]) -> bytes:
    return hash_of(0, size) if size else EMPTY


def _second(what: str, size: int) -> SecondHistory:
    return SecondHistory(
        _(
            "Nothing was signed: for its first %(leaves)s leaves, the log in the database leads to another root than "
            "%(checkpoint)s. It is another history of the same log. Run “manage.py verify”, and see “Restoring a "
            "backup” in DEVELOPERS.md."
        )
        % {"leaves": size, "checkpoint": what}
    )
