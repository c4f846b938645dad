"""The log as this installation keeps it: with its own key and its own mirror.

What is signed here is trusted here: whoever makes a checkpoint with the keys of
:mod:`registry.ledger.keys` puts them into the mirror first. That happens in this
module and nowhere else.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from registry.database import locks
from registry.ledger import keys
from registry.ledger.memory import Memory
from registry.ledger.mirror import Mirror, own_mirror
from registry.ledger.models import Checkpoint
from registry.ledger.notes import Signer, VerifierKey
from registry.ledger.services import make_checkpoint
from registry.ledger.verification import Progress, Report, verify


def sign(*, at: datetime) -> Checkpoint:
    """Make a checkpoint with this installation's key, if the log goes on from all that this machine remembers.

    Raises :class:`registry.ledger.memory.CannotSign`.
    """
    signers = keys.signers()
    mirror = own_mirror()
    with _alone(mirror):
        for each in signers:
            mirror.trust(each.verifier_key)
    return make_checkpoint(at=at, signers=signers, memory=Memory(mirror, signers[0].name))


def check(
    *,
    resume: bool,
    trusted: Sequence[VerifierKey] = (),
    kept: Sequence[str] = (),
    progress: Progress = lambda done, whole: None,
) -> Report:
    """:func:`registry.ledger.verification.verify` with this installation's mirror, one run at a time."""
    mirror = own_mirror()
    with _alone(mirror):
        return verify(mirror=mirror, trusted=trusted, kept=kept, resume=resume, progress=progress)


def trust(key: VerifierKey) -> None:
    """Trust a key made elsewhere from now on."""
    mirror = own_mirror()
    with _alone(mirror):
        mirror.trust(key)


def rotate_key(*, at: datetime) -> tuple[Signer, Checkpoint, Path | None]:
    """Put another key in place: the new signer, the checkpoint both have signed, where the retired key lies.

    An interrupted rotation is finished, not begun anew, so that no key is lost.
    Raises :class:`registry.ledger.memory.CannotSign`.
    """
    if not keys.rotating():
        keys.rotate()
    checkpoint = sign(at=at)
    return keys.signers()[0], checkpoint, keys.retire_the_one_before()


@contextmanager
def _alone(mirror: Mirror) -> Iterator[None]:
    """Two that add to one mirror at once would spoil it."""
    held = locks.exclusive(mirror.folder / "lock")
    try:
        yield
    finally:
        os.close(held)
