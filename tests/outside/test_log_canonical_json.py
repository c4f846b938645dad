"""Canonical JSON against RFC 8785: the library, the database's function and the stand-alone verifier alike."""

from __future__ import annotations

import json
import struct
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from registry.ledger.canonical import canonical, canonical_row
from tests.ledger.bundles import program

pytestmark = pytest.mark.django_db

Writer = Callable[[str], str]
"""From JSON text to its canonical text."""


def by_library(text: str) -> str:
    return canonical(json.loads(text)).decode()


def by_database(text: str) -> str:
    with connection.cursor() as cursor:
        cursor.execute("SELECT ledger_canonical(%s::jsonb)", [text])
        (found,) = cursor.fetchone()
    return found


def by_stand_alone_verifier(text: str) -> str:
    return program().canonical(json.loads(text))


writers = pytest.mark.parametrize("write", [by_library, by_database, by_stand_alone_verifier])

# RFC 8785, section 3.2.2 and its result in 3.2.3.
SAMPLE = r"""{
  "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
  "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
  "literals": [null, true, false]
}"""
SAMPLE_WRITTEN = (
    r'{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
    r'"string":"€$\u000f\nA'
    r"'B\"\\\\\"/"
    r'"}'
)
# RFC 8785, section 3.2.3: keys in the order of their UTF-16 code units.
SORTING = r"""{
  "\u20ac": "Euro Sign", "\r": "Carriage Return", "\ufb33": "Hebrew Letter Dalet With Dagesh", "1": "One",
  "\ud83d\ude00": "Emoji: Grinning Face", "\u0080": "Control", "\u00f6": "Latin Small Letter O With Diaeresis"
}"""
SORTED = [
    "Carriage Return",
    "One",
    "Control",
    "Latin Small Letter O With Diaeresis",
    "Euro Sign",
    "Emoji: Grinning Face",
    "Hebrew Letter Dalet With Dagesh",
]
# RFC 8785, appendix B: IEEE 754 in hexadecimal, and how it is written. NaN and infinity are no JSON.
NUMBERS = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "ffefffffffffffff": "-1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}


@writers
def test_the_sample(write: Writer) -> None:
    assert write(SAMPLE) == SAMPLE_WRITTEN


@writers
def test_the_sorting_of_keys(write: Writer) -> None:
    assert list(json.loads(write(SORTING)).values()) == SORTED


@writers
@pytest.mark.parametrize("pattern", NUMBERS)
def test_the_table_of_numbers(write: Writer, pattern: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(pattern))
    # In full digits, since PostgreSQL rounds nothing that it can hold exactly.
    assert write(repr(number)) == NUMBERS[pattern]


# PostgreSQL's texts hold no U+0000, and JSON no half characters.
texts = st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]), max_size=12)
numbers = st.one_of(st.integers(-(2**53) + 1, 2**53 - 1), st.floats(allow_nan=False, allow_infinity=False))
values = st.recursive(
    st.one_of(st.none(), st.booleans(), numbers, texts),
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(texts, inner, max_size=5)),
    max_leaves=12,
)


@settings(max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(values)
def test_all_three_write_the_same(value: Any) -> None:
    text = json.dumps(value)
    assert by_database(text) == by_library(text) == by_stand_alone_verifier(text)


@given(st.dictionaries(st.from_regex(r"[a-z_]{1,12}", fullmatch=True), values, max_size=6))
def test_a_row_is_written_the_same_the_fast_way(row: dict[str, Any]) -> None:
    assert canonical_row(row) == canonical(row)
