"""Where a printed document says that it can be checked."""

from __future__ import annotations

import io
from dataclasses import dataclass

import segno
from django.utils.translation import gettext as _


@dataclass(frozen=True, slots=True)
class Check:
    """Where anybody can ask whether the document is genuine, and the log's checkpoint it was printed under."""

    base: str
    code: str
    checkpoint: str | None = None

    @property
    def address(self) -> str:
        """The address in the QR code."""
        return f"{self.base.rstrip('/')}/check/{self.code}"

    @property
    def picture(self) -> str:
        """The QR code as SVG; error correction M (ISO/IEC 18004)."""
        drawn = io.BytesIO()
        segno.make(self.address, error="m", micro=False).save(
            drawn,
            kind="svg",
            border=2,
            xmldecl=False,
            omitsize=True,
            title=_("QR code of the address %(address)s") % {"address": self.address},
        )
        return drawn.getvalue().decode()
