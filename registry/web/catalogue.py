"""The catalogue of messages: found in the sources, kept in ``locale``, compiled for the running registry.

Babel does the work, so that no machine needs GNU gettext. Messages come from three places: Python
code, templates, and the texts of the role standards. The catalogue carries no line numbers and no
dates of its own, and it is sorted, so that it changes only where a message does.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from babel.messages.catalog import Catalog, Message
from babel.messages.extract import extract_python
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po
from django.utils.translation.template import templatize

from registry.standards.files import read_standard_file

KEYWORDS: dict[str, tuple[int, ...] | None] = {
    "_": None,
    "gettext": None,
    "gettext_lazy": None,
    "gettext_noop": None,
    "ngettext": (1, 2),
    "ngettext_lazy": (1, 2),
    # The engine knows no gettext; these are its own markers (registry/eligibility/sentences.py).
    "say": (1,),
    "say_many": (1, 2),
    "sentence": (1,),
}
"""Functions whose arguments are messages: which arguments, counted from one (``None``: the first)."""

PYTHON = ("registry", "api")
TEMPLATES = "templates"
STANDARDS = "fixtures/standards"
TEXTS = ("title", "note", "sentence")
"""The keys of a role standard under which people read a text."""

Found = tuple[str, str | tuple[str, ...]]
"""Where a message is, and the message: singular and plural where it has both."""


class SteadyCatalogue(Catalog):
    """A catalogue whose header says nothing of dates, tools and people: that is in the history."""

    @property
    def mime_headers(self) -> list[tuple[str, str]]:
        """The headers that gettext reads."""
        return [
            ("Language", str(self.locale_identifier)),
            ("Plural-Forms", self.plural_forms),
            ("MIME-Version", "1.0"),
            ("Content-Type", "text/plain; charset=utf-8"),
            ("Content-Transfer-Encoding", "8bit"),
        ]

    @property
    def translations(self) -> list[Message]:
        """The messages without the header, which Babel keeps as the translation of nothing."""
        return [message for message in self if message.id]


def messages_of(project: Path) -> SteadyCatalogue:
    """Every message in the sources under ``project``, without translations."""
    catalogue = SteadyCatalogue(fuzzy=False)
    for place, message in _found(project):
        catalogue.add(message, locations=[(place, 0)])
    for each in catalogue:
        each.locations.sort()
    return catalogue


def kept(path: Path) -> SteadyCatalogue:
    """The catalogue in the file ``path``, ``<language>/LC_MESSAGES/django.po``."""
    with path.open("rb") as file:
        read = read_po(file, locale=path.parent.parent.name)
    catalogue = SteadyCatalogue(locale=read.locale, header_comment=read.header_comment, fuzzy=False)
    for message in read:
        if message.id:
            catalogue[message.id] = message
    return catalogue


def brought_up_to_date(catalogue: SteadyCatalogue, sources: SteadyCatalogue) -> SteadyCatalogue:
    """``catalogue`` with the messages of ``sources``: new ones without a translation, old ones left out.

    A translation is never guessed from a similar message.
    """
    catalogue.update(sources, no_fuzzy_matching=True, update_creation_date=False)
    catalogue.obsolete.clear()
    return catalogue


def text_of(catalogue: SteadyCatalogue) -> bytes:
    """The catalogue as the text of ``django.po``."""
    written = io.BytesIO()
    write_po(written, catalogue, width=100, sort_output=True, include_lineno=False)
    return written.getvalue()


def compiled(catalogue: SteadyCatalogue) -> bytes:
    """The catalogue as ``django.mo``, which the running registry reads."""
    written = io.BytesIO()
    write_mo(written, catalogue)
    return written.getvalue()


def untranslated(catalogue: SteadyCatalogue) -> list[str]:
    """The messages (of a plural the singular) that lack a translation, or one of its forms."""
    return [forms(message.id)[0] for message in catalogue.translations if not all(forms(message.string))]


def forms(text: str | list[str] | tuple[str, ...] | None) -> tuple[str, ...]:
    """The one form of a message or translation, or each of its plural forms."""
    return tuple(text) if isinstance(text, list | tuple) else (text or "",)


def _found(project: Path) -> Iterator[Found]:
    for package in PYTHON:
        for path in (project / package).rglob("*.py"):
            if "migrations" not in path.parts:
                yield from _in_python(path.read_text(encoding="utf-8"), _place(path, project))
    for path in (project / TEMPLATES).rglob("*"):
        if path.suffix in {".html", ".txt"}:
            place = _place(path, project)
            code = templatize(path.read_text(encoding="utf-8"), origin=place)
            # What is left of a template is no program: without its indentation it can be read as one.
            yield from _in_python("\n".join(line.strip() for line in code.splitlines()), place)
    for path in (project / STANDARDS).glob("*.yaml"):
        place = _place(path, project)
        yield from ((place, text) for text in _texts_of(read_standard_file(path)))


def _place(path: Path, project: Path) -> str:
    return path.relative_to(project).as_posix()


def _in_python(code: str, place: str) -> Iterator[Found]:
    for _line, function, arguments, _comments in extract_python(
        io.BytesIO(code.encode()), list(KEYWORDS), [], {"encoding": "utf-8"}
    ):
        given = arguments if isinstance(arguments, tuple | list) else (arguments,)
        wanted = KEYWORDS[function] or (1,)
        message = tuple(given[number - 1] for number in wanted if number <= len(given))
        if len(message) == len(wanted) and all(message):
            yield place, message[0] if len(message) == 1 else message


def _texts_of(node: Any) -> Iterator[str]:
    if isinstance(node, list):
        for each in node:
            yield from _texts_of(each)
    if isinstance(node, dict):
        for key, value in node.items():
            if key in TEXTS and isinstance(value, str):
                yield value
            elif key == "role_titles":
                yield from value.values()
            else:
                yield from _texts_of(value)
