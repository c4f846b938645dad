"""Finding what a file names: workers, crane models, cranes and sites. Nothing is inferred from likeness."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Hashable
from datetime import date
from difflib import get_close_matches
from functools import cached_property
from typing import Generic, TypeVar

from django.db.models import QuerySet

from registry.equipment.models import Crane, CraneModel, Site
from registry.evidence.importing.columns import folded
from registry.evidence.importing.values import ValueRefused, cell_refused
from registry.language.amounts import day
from registry.people.models import Worker
from registry.people.names import name_key

WORKER_NUMBER = re.compile(r"[Ww]-\d+")
MOST_REMEMBERED = 20_000
Key = TypeVar("Key", bound=Hashable)
Found = TypeVar("Found")


class Remembered(dict[Key, Found], Generic[Key, Found]):
    """Answers to look-ups; forgets the oldest when there are too many."""

    def keep(self, key: Key, found: Found) -> Found:
        """Remember and return an answer."""
        if len(self) >= MOST_REMEMBERED:
            del self[next(iter(self))]
        self[key] = found
        return found


class Lookup:
    """Look-ups for one import, of workers among ``people``; what was found is remembered."""

    def __init__(self, people: QuerySet[Worker]) -> None:
        self._people = people
        self._workers: Remembered[tuple[str, date | None], Worker | ValueRefused] = Remembered()
        self._cranes: Remembered[tuple[int, str], Crane | ValueRefused] = Remembered()

    def worker(self, named: str, date_of_birth: date | None) -> Worker:
        """A worker by number, or by whole name and date of birth."""
        key = (named, date_of_birth)
        found = self._workers.get(key)
        if found is None:
            try:
                found = self._find_worker(named, date_of_birth)
            except ValueRefused as refused:
                found = refused
            self._workers.keep(key, found)
        if isinstance(found, ValueRefused):
            raise ValueRefused(found.rule, found.message)
        return found

    def _find_worker(self, named: str, date_of_birth: date | None) -> Worker:
        if WORKER_NUMBER.fullmatch(named):
            numbered = self._people.filter(number=named.upper()).first()
            if numbered is None:
                raise cell_refused("worker_is_registered", named=named.upper())
            if date_of_birth is not None and numbered.date_of_birth not in (None, date_of_birth):
                raise cell_refused("worker_has_this_date_of_birth", number=numbered.number, day=day(date_of_birth))
            return numbered
        if date_of_birth is None:
            raise cell_refused("worker_is_named_by_number_or_birth", name=repr(named))
        wanted = name_key(named, "")
        born_then = self._people.filter(date_of_birth=date_of_birth)
        same = [each for each in born_then if name_key(each.given_name, each.family_name) == wanted]
        if not same:
            raise cell_refused("worker_is_registered", named=f"{named!r}, {day(date_of_birth)}")
        if len(same) > 1:
            numbers = ", ".join(sorted(each.number for each in same))
            raise cell_refused("worker_is_unambiguous", name=repr(named), numbers=numbers)
        return same[0]

    @cached_property
    def _models(self) -> dict[str, list[CraneModel]]:
        models: dict[str, list[CraneModel]] = defaultdict(list)
        for each in CraneModel.objects.select_related("maker"):
            models[folded(str(each))].append(each)
        return models

    def model(self, named: str) -> CraneModel:
        """A crane model by its maker's name and designation."""
        found = self._models.get(folded(named), [])
        if len(found) == 1:
            return found[0]
        if found:
            raise cell_refused("model_is_unambiguous", name=repr(named))
        near = get_close_matches(folded(named), self._models, n=1, cutoff=0.7)
        if near:
            model = repr(str(self._models[near[0]][0]))
            raise cell_refused("model_is_spelled_as_registered", name=repr(named), model=model)
        raise cell_refused("model_is_registered", name=repr(named))

    def configuration(self, model: CraneModel, named: str) -> str:
        """A configuration as the model spells it; a model without any takes what is written."""
        if not named or not model.configurations:
            return named
        for each in model.configurations:
            if folded(each) == folded(named):
                return str(each)
        known = ", ".join(map(repr, model.configurations))
        raise cell_refused("configuration_is_the_models", model=model, name=repr(named), configurations=known)

    @cached_property
    def _sites(self) -> dict[str, list[Site]]:
        sites: dict[str, list[Site]] = defaultdict(list)
        for each in Site.objects.all():
            sites[folded(each.name)].append(each)
        return sites

    def site(self, named: str) -> Site:
        """A site by its name."""
        found = self._sites.get(folded(named), [])
        if len(found) == 1:
            return found[0]
        if found:
            raise cell_refused("site_is_unambiguous", number=len(found), name=repr(named))
        raise cell_refused("site_is_registered", name=repr(named))

    def crane(self, model: CraneModel, serial_number: str) -> Crane:
        """A crane by its serial number: the model's own, else another model's, which the services then refuse."""
        key = (model.pk, serial_number)
        found = self._cranes.get(key)
        if found is None:
            cranes = list(Crane.objects.filter(serial_number=serial_number))
            of_the_model = [each for each in cranes if each.model_id == model.pk]
            if of_the_model or cranes:
                found = (of_the_model or cranes)[0]
            else:
                found = cell_refused("crane_is_registered", number=repr(serial_number))
            self._cranes.keep(key, found)
        if isinstance(found, ValueRefused):
            raise ValueRefused(found.rule, found.message)
        return found
