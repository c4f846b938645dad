"""What a body of a request may be: JSON that every reader takes alike (RFC 8259) and that the database can hold."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from math import isfinite
from typing import IO, Any, NoReturn

from django.conf import settings
from django.utils.translation import gettext as _
from rest_framework.exceptions import APIException, ParseError
from rest_framework.parsers import BaseParser

MOST_DEPTH = 20
"""No body that the interface asks for is nested as deeply."""
# RFC 8259, 8.2: half of a surrogate pair is no character. PostgreSQL's text holds no zero character.
UNWRITABLE = re.compile("[\0\ud800-\udfff]")


class BodyTooLarge(APIException):
    """More than the settings let anybody send."""

    status_code = 413


class StrictJSON(BaseParser):
    """The interface's only parser: UTF-8, finite numbers, text that can be stored, not too deep."""

    media_type = "application/json"

    def parse(
        self, stream: IO[Any], media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> Any:
        """The body as Python's data; raises what is answered with 400 or 413."""
        most = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
        body = stream.read(most + 1)
        if len(body) > most:
            raise BodyTooLarge(_("The body is longer than %(most)s bytes.") % {"most": most})
        try:
            read = json.loads(body.decode(), parse_float=_finite, parse_constant=_no_number)
        except RecursionError:
            raise _too_deep() from None
        except ValueError as error:  # of the encoding, of the grammar, or an integer of thousands of digits
            raise ParseError(_("The body is not JSON as RFC 8259 has it: %(error)s.") % {"error": error}) from error
        _refuse_unstorable(read)
        return read


def _finite(written: str) -> float:
    number = float(written)
    if not isfinite(number):
        raise ParseError(_("The number %(number)s is too large.") % {"number": written[:40]})
    return number


def _no_number(written: str) -> NoReturn:
    raise ParseError(_("%(number)s is no number in JSON.") % {"number": written})


def _refuse_unstorable(read: Any) -> None:
    level = [read]
    for _depth in range(MOST_DEPTH):
        below: list[Any] = []
        for each in level:
            if isinstance(each, dict):
                below += [*each.keys(), *each.values()]
            elif isinstance(each, list):
                below += each
            elif isinstance(each, str) and UNWRITABLE.search(each):
                raise ParseError(_("A text holds a zero character or half of a surrogate pair."))
        if not below:
            return
        level = below
    raise _too_deep()


def _too_deep() -> ParseError:
    return ParseError(_("The body is nested more than %(most)s deep.") % {"most": MOST_DEPTH})
