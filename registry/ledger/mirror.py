"""What this machine remembers of the log outside the database.

Whoever may change every table can also compute a new, consistent log. The
mirror is why that shows: it holds, for each leaf that was verified, its hash
and which record it was, the last verified checkpoint, the last one signed, and
the keys this machine made or was told to trust. It is a folder in the data folder; copy it elsewhere
to have it out of reach of whoever rules this machine.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, NamedTuple

from django.db import connection

from registry.database import data_folder
from registry.ledger.kinds import KINDS
from registry.ledger.notes import VerifierKey

LEAF = struct.Struct(">32sHq")
AT_ONCE = 4_096
"""So many leaves are read at a time: memory does not grow with the log."""

NUMBER_OF = {each.table: number for number, each in enumerate(KINDS)}


class Remembered(NamedTuple):
    """A leaf as it was verified."""

    hash: bytes
    kind: str
    record: int

    def packed(self) -> bytes:
        """The leaf as the mirror's file holds it."""
        return LEAF.pack(self.hash, NUMBER_OF[self.kind], self.record)


def own_mirror() -> Mirror:
    """This installation's own mirror of the database it is connected to."""
    return Mirror(data_folder.locate() / "log-mirror" / connection.settings_dict["NAME"])


class Mirror:
    """The remembered part of one database's log, in ``folder``."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        self._leaves = folder / "leaves"
        self._checkpoint = folder / "checkpoint"
        self._signed = folder / "signed"
        self._keys = folder / "trusted-keys"

    @property
    def size(self) -> int:
        """How many leaves are remembered."""
        return self._leaves.stat().st_size // LEAF.size if self._leaves.exists() else 0

    def leaves(self, first: int, end: int) -> Iterator[Remembered]:
        """Remembered leaves ``[first, end)``, as far as they go."""
        left = (min(end, self.size) - first) * LEAF.size
        if left <= 0:
            return
        with self._leaves.open("rb") as file:
            file.seek(first * LEAF.size)
            while left > 0 and (content := file.read(min(left, AT_ONCE * LEAF.size))):
                left -= len(content)
                for hashed, number, record in LEAF.iter_unpack(content):
                    yield Remembered(hashed, KINDS[number].table, record)

    def remember(self, leaves: BinaryIO, count: int, checkpoint: str) -> None:
        """Add the first ``count`` of some packed leaves after those remembered, and the checkpoint over them."""
        with self._leaves.open("ab") as file:
            # What an interrupted run left half written.
            file.truncate(self.size * LEAF.size)
            leaves.seek(0)
            left = count * LEAF.size
            while left and (content := leaves.read(min(left, 1 << 20))):
                file.write(content)
                left -= len(content)
        draft = self._checkpoint.with_suffix(".draft")
        draft.write_text(checkpoint, encoding="utf-8")
        draft.replace(self._checkpoint)

    @property
    def checkpoint(self) -> str | None:
        """The last verified checkpoint."""
        return self._checkpoint.read_text(encoding="utf-8") if self._checkpoint.exists() else None

    @property
    def signed(self) -> str | None:
        """The last checkpoint that this machine signed."""
        return self._signed.read_text(encoding="utf-8") if self._signed.exists() else None

    def remember_signed(self, note: str) -> None:
        """Keep a checkpoint as the last one signed, whole and on the disk before it is given to anybody."""
        data_folder.replace_file(self._signed, note.encode())

    @property
    def trusted_keys(self) -> list[VerifierKey]:
        """Keys this machine made or was told to trust."""
        if not self._keys.exists():
            return []
        return [VerifierKey.parse(each) for each in self._keys.read_text(encoding="utf-8").splitlines() if each]

    def trust(self, key: VerifierKey) -> None:
        """Trust a key from now on."""
        if key not in self.trusted_keys:
            with self._keys.open("a", encoding="utf-8") as file:
                file.write(f"{key}\n")
