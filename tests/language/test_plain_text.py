"""Text that reads as it looks."""

from __future__ import annotations

import pytest

from registry.language.plain_text import code_point, hidden_character, hidden_within, line, lines, seen

HIDDEN = {
    "a terminal's escape": "\x1b",
    "a bell": "\x07",
    "delete": "\x7f",
    "a C1 control": "\x9b",
    "next line": "\x85",
    "a soft hyphen": "\xad",
    "zero-width space": "\u200b",
    "zero-width non-joiner": "\u200c",
    "zero-width joiner": "\u200d",
    "right-to-left mark": "\u200f",
    "right-to-left override": "\u202e",
    "an isolate": "\u2066",
    "word joiner": "\u2060",
    "byte order mark": "\ufeff",
    "line separator": "\u2028",
    "paragraph separator": "\u2029",
    "half of a surrogate pair": "\ud800",
    "private use": "\ue000",
    "unassigned": "\u0378",
    "no character": "\ufffe",
    "a tag": "\U000e0041",
    "a Hangul filler": "\u3164",
    "a blank Braille pattern": "\u2800",
    "a combining grapheme joiner": "\u034f",
    "a variation selector": "\U000e0100",
}


@pytest.mark.parametrize("character", HIDDEN.values(), ids=HIDDEN.keys())
def test_what_cannot_be_seen_is_found_in_names_and_in_free_text(character: str) -> None:
    text = f"An{character}a"
    assert hidden_character(line(text)) == character
    assert hidden_character(lines(text), several_lines=True) == character
    assert seen(text) == "An\ufffda"


@pytest.mark.parametrize(
    "name",
    [
        "Zoë Ana-Lind",
        "O’Brien",
        "Łukasz Żółć",
        "Анна Ким",
        "Ολυμπία",
        "黒澤 明",
        "नेहा",
        "محمد",
        "יעל",
        "Nguyễn",
        "12/4 №7",
    ],
)
def test_names_of_all_scripts_are_plain(name: str) -> None:
    assert hidden_character(line(name)) is None


def test_a_line_is_composed_and_has_single_spaces() -> None:
    assert line("  Zoe\u0308\u00a0 \t\r\nLind\u3000") == "Zoë Lind"
    assert line("Ana Lind") == "Ana Lind"


def test_lines_keep_their_breaks_and_tabs() -> None:
    assert lines(" one\r\ntwo\rthree\tfour \n") == "one\ntwo\nthree\tfour"
    assert hidden_character("one\ntwo\tthree", several_lines=True) is None
    assert hidden_character("one\ntwo") == "\n"
    # Telephones put a selector behind a tick.
    assert lines("✔\ufe0f done") == "✔ done"


def test_a_character_is_named_as_unicode_names_it() -> None:
    assert code_point("\u202e") == "U+202E RIGHT-TO-LEFT OVERRIDE"
    assert code_point("\x1b") == "U+001B"


def test_data_are_searched_through_with_their_place() -> None:
    data = {"roles": [{"title": "A"}, {"title": "B\u200b"}]}
    assert hidden_within(data, "$") == ("$.roles[1].title", "\u200b")
    assert hidden_within({"a\u200b": 1}) == ("", "\u200b")
    assert hidden_within(["a", 1, None, {"b": True}]) is None
    deep: object = "\u200b"
    for _each in range(5000):
        deep = [deep]
    assert hidden_within(deep) is not None
