"""Pictures that stand inside a page."""

from __future__ import annotations

import base64
from io import BytesIO

import segno


def qr_picture(address: str) -> str:
    """The address as a QR code: a picture inside the page."""
    drawn = BytesIO()
    segno.make(address, error="m").save(drawn, kind="svg", scale=4, border=2)
    return f"data:image/svg+xml;base64,{base64.b64encode(drawn.getvalue()).decode()}"
