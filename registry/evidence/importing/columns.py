"""Which column of a file is which field, told by its header."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache, reduce

from django.utils.translation import gettext as _
from openpyxl.utils import get_column_letter

from registry.evidence.apart.tables import FileRefused, Row, Unreadable
from registry.evidence.importing.words import field_in_words
from registry.language.refusals import sentence_of
from registry.language.words import set_apart


@dataclass(frozen=True, slots=True)
class Field:
    """What a column may hold: its name, the headers people write for it, and how long a text may be."""

    name: str
    spellings: tuple[str, ...] = ()
    compulsory: bool = False
    longest: int = 200


@dataclass(frozen=True, slots=True)
class Column:
    """A column of the file, as its reader sees it."""

    letter: str
    header: str


@dataclass(frozen=True, slots=True)
class Columns:
    """Where each field is: ``index`` by field, and every column of the header by its index."""

    index: dict[str, int]
    all: list[Column]

    def of(self, field: str) -> Column | None:
        """The column that holds the field, if the file has it."""
        found = self.index.get(field)
        return None if found is None else self.all[found]


@lru_cache(maxsize=4096)
def folded(text: str) -> str:
    """The text without case, accents, punctuation and doubled spaces."""
    plain = unicodedata.normalize("NFKD", text.casefold().replace("œ", "oe").replace("æ", "ae"))
    plain = "".join(each for each in plain if not unicodedata.combining(each))
    return re.sub(r"[\W_]+", " ", plain).strip()


def spellings_of(fields: Sequence[Field]) -> dict[str, str]:
    """The field that each folded spelling of a header means."""
    return {folded(spelling): each.name for each in fields for spelling in (each.name, *each.spellings)}


def map_columns(
    header: Row,
    fields: Sequence[Field],
    *,
    mapping: Mapping[str, str],
    letters: Mapping[str, str],
    ignore_unknown: bool,
    one_of: Sequence[Sequence[str]] = (),
) -> Columns:
    """Find the fields' columns.

    ``mapping`` says for headers of the file which field they are, ``letters`` for columns; blank: left out.
    Raises :class:`FileRefused` that names every column that is unknown, missing or double.
    """
    names = {each.name for each in fields}
    known = spellings_of(fields)
    wanted = {folded(written): field for written, field in mapping.items()}
    troubles = [
        _("%(field)s is no field; there are %(fields)s")
        % {"field": repr(field), "fields": ", ".join(each.name for each in fields)}
        for field in (*mapping.values(), *letters.values())
        if field and field not in names
    ]
    all_columns: list[Column] = []
    index: dict[str, int] = {}
    rule = "columns_are_known"
    for position, value in enumerate(header.values):
        if isinstance(value, Unreadable):
            raise FileRefused(value.rule, value.message)
        written = str(value).strip() if value is not None else ""
        column = Column(get_column_letter(position + 1), written)
        all_columns.append(column)
        if not written:
            continue
        if column.letter in letters:
            if not letters[column.letter]:
                continue
            field: str | None = letters[column.letter]
        elif folded(written) in wanted:
            if not wanted[folded(written)]:
                del wanted[folded(written)]
                continue
            field = wanted.pop(folded(written))
        else:
            field = known.get(folded(written))
        if field is None:
            if not ignore_unknown:
                troubles.append(
                    _("column %(letter)s %(header)s is unknown") % {"letter": column.letter, "header": repr(written)}
                )
        elif field in index:
            first = all_columns[index[field]]
            troubles.append(
                _("columns %(one)s and %(other)s are both %(field)s")
                % {
                    "one": f"{first.letter} {first.header!r}",
                    "other": f"{column.letter} {written!r}",
                    "field": field_in_words(field),
                }
            )
            rule = "columns_are_unique"
        else:
            index[field] = position
    troubles += [
        _("the file has no column %(header)s") % {"header": repr(written)}
        for written in mapping
        if folded(written) in wanted
    ]
    missing = [field_in_words(each.name) for each in fields if each.compulsory and each.name not in index]
    missing += [
        reduce(_either, map(field_in_words, group)) for group in one_of if not any(each in index for each in group)
    ]
    if missing:
        rule = "columns_are_complete"
        troubles.append(_("there is no column for %(fields)s") % {"fields": ", ".join(missing)})
    if troubles:
        raise FileRefused(rule, sentence_of(rule, row=header.number, troubles=set_apart(troubles)))
    return Columns(index, all_columns)


def _either(one: str, other: str) -> str:
    return _("%(one)s or %(other)s") % {"one": one, "other": other}
