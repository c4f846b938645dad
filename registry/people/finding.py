"""Who is meant by a number or a name that somebody typed."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import reduce
from operator import or_

from django.db.models import Q, QuerySet

from registry.people.models import Worker

NUMBER = re.compile(r"\b[Ww]-\d+\b")
MOST_ALIKE = 6


def named(word: str) -> Q:
    """That a word is part of a worker's number or name."""
    return Q(given_name__icontains=word) | Q(family_name__icontains=word) | Q(number__icontains=word)


def people_meant(typed: Iterable[str], among: QuerySet[Worker]) -> dict[str, list[Worker]]:
    """For each text the workers it may mean, in one statement.

    A worker's number anywhere in the text settles it; else every word must be
    part of the number or of the name, and a whole name goes before a part.
    """
    texts = {each.strip() for each in typed if each.strip()}
    if not texts:
        return {}
    wanted = reduce(or_, (_matching(each) for each in texts))
    found = list(among.filter(wanted).distinct().order_by("family_name", "given_name", "id")[:2000])
    return {each: _meant(each, found) for each in texts}


def _words(text: str) -> list[str]:
    return text.replace("\0", "").replace(",", " ").casefold().split()


def _matching(text: str) -> Q:
    if number := NUMBER.search(text):
        return Q(number=number[0].upper())
    condition = Q()
    for word in _words(text):
        condition &= named(word)
    return condition


def _meant(text: str, found: list[Worker]) -> list[Worker]:
    if number := NUMBER.search(text):
        return [each for each in found if each.number == number[0].upper()]
    words = _words(text)
    alike = [each for each in found if _named(each, words)]
    whole = [each for each in alike if sorted(str(each).casefold().split()) == sorted(words)]
    return whole or alike


def _named(worker: Worker, words: list[str]) -> bool:
    parts = [each.casefold() for each in (worker.given_name, worker.family_name, worker.number)]
    return all(any(word in part for part in parts) for word in words)
