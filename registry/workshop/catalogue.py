"""The catalogue of messages: found in the sources, kept in ``locale``, compiled for the running registry.

Babel does the work, so that no machine needs GNU gettext. Messages come from three places: Python
code, templates, and the texts of role standards and notice rules. The catalogue carries no line numbers and no
dates, and it is sorted, so that it changes only where a message does.
"""

from __future__ import annotations

import ast
import io
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from babel.messages.catalog import Catalog
from babel.messages.catalog import Message as Entry
from babel.messages.extract import extract_python
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po
from django.utils.translation.template import templatize

from registry.standards.files import read_standard_file

MARKERS = {
    "_": 1,
    "gettext": 1,
    "gettext_lazy": 1,
    "ngettext": 2,
    "ngettext_lazy": 2,
    # The engine knows no gettext; these are its own (registry/engine/sentences.py).
    "say": 1,
    "say_many": 2,
    "sentence": 1,
}
"""Functions whose first arguments are messages, and how many of them: singular and plural make two."""

SOURCES = ("api", "fixtures/notices", "fixtures/standards", "registry", "templates")
TEXTS = ("title", "note", "sentence", "status")
"""The keys of a role standard, or of a rule on notices, under which people read a text."""

Message = str | tuple[str, ...]
"""A message: its text, or singular and plural."""


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
    def translations(self) -> list[Entry]:
        """The messages without the header, which Babel keeps as the translation of nothing."""
        return [message for message in self if message.id]


def messages_of(project: Path) -> SteadyCatalogue:
    """Every message in the sources under ``project``, without translations."""
    catalogue = SteadyCatalogue(fuzzy=False)
    for place, message in _found(project):
        catalogue.add(message, locations=[(place, 0)])
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


def _found(project: Path) -> Iterator[tuple[str, Message]]:
    """``(place, message)``: the file a message stands in, and the message."""
    for path in sorted(each for folder in SOURCES for each in (project / folder).rglob("*") if each.is_file()):
        read = READERS.get(path.suffix)
        if read and "migrations" not in path.parts:
            place = path.relative_to(project).as_posix()
            yield from ((place, message) for message in read(path))


def _in_python(path: Path) -> Iterator[Message]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name | ast.Attribute):
            name = node.func.id if isinstance(node.func, ast.Name) else node.func.attr
            first = node.args[: MARKERS.get(name, 0)]
            # Arguments that are no literal text are marked where that text is written.
            texts = [each.value for each in first if isinstance(each, ast.Constant) and isinstance(each.value, str)]
            if texts and len(texts) == MARKERS[name]:
                yield _message(texts)


def _in_template(path: Path) -> Iterator[Message]:
    code = templatize(path.read_text(encoding="utf-8"), origin=path.name)
    # What is left of a template is no program, but tokens that Babel can read once nothing is indented.
    tokens = io.BytesIO("\n".join(line.strip() for line in code.splitlines()).encode())
    for _line, function, found, _comments in extract_python(tokens, dict.fromkeys(MARKERS), [], {"encoding": "utf-8"}):
        yield _message(forms(found)[: MARKERS[str(function)]])


def _message(texts: Sequence[str]) -> Message:
    return texts[0] if len(texts) == 1 else tuple(texts)


def _in_standard(path: Path) -> Iterator[Message]:
    yield from _texts_of(read_standard_file(path))


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


READERS: dict[str, Callable[[Path], Iterator[Message]]] = {
    ".py": _in_python,
    ".html": _in_template,
    ".txt": _in_template,
    ".yaml": _in_standard,
}
"""How messages are found in a file, by how its name ends."""
