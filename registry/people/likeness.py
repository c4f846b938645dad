"""When two people may be one: names that look or sound alike, and days of birth that a slip of the pen sets apart.

Pure, so that whatever stores people and whatever looks for them agree: :func:`keys_stored` of somebody meets
:func:`keys_sought` of whoever may be the same, and :func:`likeness` then has the last word.

How letters look is Unicode's own table of confusable characters (Technical Standard 39, ``confusables.txt``), as the
package ``confusable_homoglyphs`` carries it; how they sound in Latin letters is ``anyascii``'s.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache, lru_cache
from itertools import combinations, permutations

from anyascii import anyascii
from confusable_homoglyphs.confusables import confusables_data

MOST_WORDS = 5
"""Words of a name beyond these are not compared: no list of permutations grows without end."""
# What looks alike in small letters too, once Unicode's table is applied: Ida and lda, Bo and B0, Karn and Kam.
ALIKE = (("i", "l"), ("1", "l"), ("0", "o"), ("rn", "m"), ("vv", "w"))

NAMES = ("same_name", "initials", "one_letter")
"""How two names are alike: the same but for spelling and order; one of initials or shortened; but for one letter."""
DATES = ("same_day", "no_day", "day_off", "month_off", "year_off", "swapped")
"""How two dates are: the same; one missing; one day, month or year apart; day and month or two digits swapped."""


@dataclass(frozen=True, slots=True)
class Likeness:
    """In what two people are alike: one of :data:`NAMES` and one of :data:`DATES`."""

    names: str
    dates: str

    @property
    def same(self) -> bool:
        """The same name and the same day: one person, as far as anybody can tell."""
        return (self.names, self.dates) == ("same_name", "same_day")


@dataclass(frozen=True, slots=True)
class Identity:
    """Somebody's names and day of birth."""

    given_name: str
    family_name: str
    date_of_birth: date | None


def likeness(one: Identity, other: Identity) -> Likeness | None:
    """In what two identities are alike, or ``None`` where they are two people's."""
    dates = _dates(one.date_of_birth, other.date_of_birth)
    if dates is None:
        return None
    pairs = [(a, b) for a in _spellings(one) for b in _spellings(other)]
    if any(_same(a, b) for a, b in pairs):
        return Likeness("same_name", dates)
    if _numbered(one) or _numbered(other):
        # Figures tell such names apart: Crew 1 is not short for Crew 10.
        return None
    if any(_shortened(a, b) for a, b in pairs):
        return Likeness("initials", dates)
    # Two slips at once are two people.
    if dates == "same_day" and any(_one_letter_apart(a, b) for a, b in pairs):
        return Likeness("one_letter", dates)
    return None


def _numbered(person: Identity) -> bool:
    return any(each.isdigit() for each in person.given_name + person.family_name)


def keys_stored(person: Identity) -> list[str]:
    """The keys by which somebody is found, without repetition; never empty."""
    day = _written(person.date_of_birth)
    found: dict[str, None] = {}
    for words in _spellings(person):
        letters = _letters(words)
        found |= dict.fromkeys((f"N:{letters}", f"N:{letters}:{day}"))
        if person.date_of_birth is not None:
            found |= dict.fromkeys(f"I:{pair}:{day}" for pair in _initials(words))
        dated = "-" if person.date_of_birth is None else "d"
        found |= dict.fromkeys(f"W:{word}:{dated}" for word in _words_with_initial(words))
    return list(found)


def keys_sought(person: Identity) -> list[str]:
    """The keys of everybody who may be the same as somebody, without repetition."""
    born = person.date_of_birth
    found: dict[str, None] = {}
    for words in _spellings(person):
        letters = _letters(words)
        if born is None:
            found[f"N:{letters}"] = None
            found |= dict.fromkeys(f"W:{word}:{dated}" for word in _words_with_initial(words) for dated in "-d")
            continue
        found[f"N:{letters}:-"] = None
        found |= dict.fromkeys(f"W:{word}:-" for word in _words_with_initial(words))
        for day in _days_near(born):
            found[f"N:{letters}:{day}"] = None
            found |= dict.fromkeys(f"I:{pair}:{day}" for pair in _initials(words))
    return list(found)


# Names


@lru_cache(maxsize=20_000)
def _spellings(person: Identity) -> tuple[tuple[str, ...], ...]:
    """The words of the name as they look and as they sound, in small Latin letters as far as that goes."""
    written = f"{person.given_name} {person.family_name}"
    looks, sounds = _words(_looks(written)), _words(anyascii(_bare(written)))
    return (looks,) if looks == sounds else (looks, sounds)


def _words(text: str) -> tuple[str, ...]:
    spaced = "".join(each if each.isalnum() else " " for each in text.casefold())
    words = spaced.split() or [text.casefold()]
    for written, alike in ALIKE:
        words = [each.replace(written, alike) for each in words]
    return tuple(sorted(words)[:MOST_WORDS])


def _looks(text: str) -> str:
    return _bare("".join(_look(each) for each in _bare(text)))


def _bare(text: str) -> str:
    """Without accents, and with compatibility forms such as full-width letters as plain ones."""
    return "".join(each for each in unicodedata.normalize("NFKD", text) if not unicodedata.combining(each))


@cache
def _look(character: str) -> str:
    """The Latin letters that the character looks like, in small or capital letters; else its prototype."""
    if character.isascii() and not character.isdigit():
        return character
    small = _prototype(character)
    capital = _prototype(character.upper()) if len(character.upper()) == 1 else small
    return capital if _bare(capital).isascii() and not _bare(small).isascii() else small


@cache
def _prototype(character: str) -> str:
    """The one character that stands for all that look like it: each other one is listed as confusable with it alone."""
    alike = [each["c"] for each in confusables_data.get(character, ())]
    if len(alike) != 1:
        return character
    mutual = [each["c"] for each in confusables_data.get(alike[0], ())] == [character]
    return min(alike[0], character) if mutual else str(alike[0])


def _letters(words: Sequence[str]) -> str:
    """All letters in order: whatever stands first, with or without hyphens."""
    return "".join(sorted("".join(words)))


def _initials(words: Sequence[str]) -> Iterator[str]:
    initials = sorted(each[0] for each in words)
    return ("".join(pair) for pair in combinations(initials, 2)) if len(words) > 1 else iter(initials)


def _words_with_initial(words: Sequence[str]) -> Iterator[str]:
    for place, word in enumerate(words):
        if len(word) > 1:
            yield from (f"{word}+{other[0]}" for at, other in enumerate(words) if at != place)


def _same(one: tuple[str, ...], other: tuple[str, ...]) -> bool:
    if one == other:
        return True
    # Written in some order without spaces and hyphens, they are one text.
    return _letters(one) == _letters(other) and bool(_orders(one) & _orders(other))


def _orders(words: tuple[str, ...]) -> set[str]:
    return {"".join(order) for order in permutations(words)}


def _shortened(one: tuple[str, ...], other: tuple[str, ...]) -> bool:
    """Whether each word of the shorter name begins, or is begun by, a word of the longer, and one is the same whole."""
    few, many = sorted((one, other), key=len)
    if len(few) < 2 or not any(len(each) > 1 and each in many for each in few):
        return False
    left = list(many)
    for word in sorted(few, key=len, reverse=True):
        fitting = [each for each in left if each.startswith(word) or word.startswith(each)]
        if not fitting:
            return False
        left.remove(word if word in fitting else fitting[0])
    return True


def _one_letter_apart(one: tuple[str, ...], other: tuple[str, ...]) -> bool:
    if len(one) != len(other):
        return False
    differing, otherwise = list(one), list(other)
    for word in one:
        if word in otherwise:
            differing.remove(word)
            otherwise.remove(word)
    # Of the shortest words any two are one letter apart.
    return len(differing) == 1 and min(map(len, differing + otherwise)) > 3 and _edited(differing[0], otherwise[0])


def _edited(one: str, other: str) -> bool:
    """Whether one letter is added, left out, exchanged, or two neighbours are swapped."""
    start = 0
    while start < min(len(one), len(other)) and one[start] == other[start]:
        start += 1
    a, b = one[start:], other[start:]
    return a[1:] == b[1:] or a[1:] == b or a == b[1:] or (a[:2] == b[:2][::-1] and a[2:] == b[2:])


# Days


def _written(day: date | None) -> str:
    return "-" if day is None else day.isoformat()


def _dates(one: date | None, other: date | None) -> str | None:
    if one is None or other is None:
        return "no_day"
    return "same_day" if one == other else _slips(one).get(other)


def _days_near(day: date) -> list[str]:
    return [each.isoformat() for each in (day, *_slips(day))]


@lru_cache(maxsize=20_000)
def _slips(day: date) -> dict[date, str]:
    """The days that one slip makes of a day, each with its name of :data:`DATES`."""
    found: dict[date, str] = {}

    def slip(kind: str, year: int, month: int, number: int) -> None:
        try:
            found.setdefault(date(year, month, number), kind)
        except ValueError:
            return

    for apart in (-1, 1):
        if date.min < day < date.max:
            found.setdefault(day + timedelta(days=apart), "day_off")
        months = day.year * 12 + day.month - 1 + apart
        slip("month_off", months // 12, months % 12 + 1, day.day)
        slip("year_off", day.year + apart, day.month, day.day)
    slip("swapped", day.year, day.day, day.month)
    digits = day.isoformat().replace("-", "")
    for place in range(len(digits) - 1):
        other = digits[:place] + digits[place + 1] + digits[place] + digits[place + 2 :]
        slip("swapped", int(other[:4]), int(other[4:6]), int(other[6:]))
    found.pop(day, None)
    return found
