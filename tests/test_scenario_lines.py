"""Lines of keys, against positions read off by eye."""

import tomllib
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from drytouch.sim.scenario.files import parse_toml
from drytouch.sim.scenario.lines import key_lines

TEXT = '''# a comment with [brackets] and a = sign
title = "a # b ] = } \\" quoted"
story = """
line [one]
x = 3 ""two marks"""
plain = 'C:\\path'

[machine] # [not this]
use = "bed-mill"
axes.x.min_mm = -5
"odd key".'other.key' = 1979-05-27T07:32:00Z

[machine.servo]
gains = [
    1, # first
    [2, 3],
    { kind = "a", "b c" = [4] },
]

[[steps]]
do = "jog"
[steps.with]
deep = { a = { b = 1 } }

[[steps]]
do = "wait"
[[steps.parts]]
name = "p"
[[steps.parts]]
name = "q"
'''


def test_each_key_is_found_on_the_line_that_it_stands_on() -> None:
    assert key_lines(TEXT) == {
        ("title",): 2,
        ("story",): 3,
        ("plain",): 6,
        ("machine",): 8,
        ("machine", "use"): 9,
        ("machine", "axes"): 10,
        ("machine", "axes", "x"): 10,
        ("machine", "axes", "x", "min_mm"): 10,
        ("machine", "odd key"): 11,
        ("machine", "odd key", "other.key"): 11,
        ("machine", "servo"): 13,
        ("machine", "servo", "gains"): 14,
        ("machine", "servo", "gains", 0): 15,
        ("machine", "servo", "gains", 1): 16,
        ("machine", "servo", "gains", 1, 0): 16,
        ("machine", "servo", "gains", 1, 1): 16,
        ("machine", "servo", "gains", 2): 17,
        ("machine", "servo", "gains", 2, "kind"): 17,
        ("machine", "servo", "gains", 2, "b c"): 17,
        ("machine", "servo", "gains", 2, "b c", 0): 17,
        ("steps",): 20,
        ("steps", 0): 20,
        ("steps", 0, "do"): 21,
        ("steps", 0, "with"): 22,
        ("steps", 0, "with", "deep"): 23,
        ("steps", 0, "with", "deep", "a"): 23,
        ("steps", 0, "with", "deep", "a", "b"): 23,
        ("steps", 1): 25,
        ("steps", 1, "do"): 26,
        ("steps", 1, "parts"): 27,
        ("steps", 1, "parts", 0): 27,
        ("steps", 1, "parts", 0, "name"): 28,
        ("steps", 1, "parts", 1): 29,
        ("steps", 1, "parts", 1, "name"): 30,
    }


def test_windows_line_ends_count_once() -> None:
    assert key_lines("a = 1\r\nb = 2\r\n") == {("a",): 1, ("b",): 2}


def _paths(value: Any, path: tuple[str | int, ...] = ()) -> set[tuple[str | int, ...]]:
    found = {path} if path else set()
    items: list[tuple[str | int, Any]] = []
    if isinstance(value, dict):
        items = list(value.items())
    elif isinstance(value, list):
        items = list(enumerate(value))
    for key, item in items:
        found |= _paths(item, (*path, key))
    return found


WORD = st.text("ab .#='\"[]{}\\\n,é", max_size=6)
LEAF = st.one_of(st.integers(-9, 9), st.booleans(), WORD, st.floats(-5, 5))
TREE = st.recursive(
    LEAF, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(WORD, inner, max_size=3)
)


@given(st.dictionaries(WORD, TREE, max_size=4))
def test_a_written_document_has_a_line_for_exactly_its_keys(data: dict[str, Any]) -> None:
    from drytouch.sim.scenario.save import _table

    lines: list[str] = []
    _table((), data, lines)
    text = "\n".join(lines)
    read = parse_toml(text, "text")
    # The text is checked by the standard library; the scanner then has to agree on every key.
    assert read == tomllib.loads(text)
    assert set(key_lines(text)) == _paths(read)


@given(st.dictionaries(WORD, TREE, max_size=4))
def test_what_is_written_reads_back_as_it_was(data: dict[str, Any]) -> None:
    from drytouch.sim.scenario.save import _table

    lines: list[str] = []
    _table((), data, lines)
    assert tomllib.loads("\n".join(lines)) == data
