"""JSON Pointer: the examples of RFC 6901, and what is no pointer or leads nowhere."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.codecs.json_pointer import found, tokens, written

DOCUMENT = json.loads(r"""
{ "foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, "k\"l": 6, " ": 7, "m~n": 8 }
""")
"""RFC 6901, section 5."""
EXAMPLES = [
    ("", DOCUMENT),
    ("/foo", ["bar", "baz"]),
    ("/foo/0", "bar"),
    ("/", 0),
    ("/a~1b", 1),
    ("/c%d", 2),
    ("/e^f", 3),
    ("/g|h", 4),
    ("/i\\j", 5),
    ('/k"l', 6),
    ("/ ", 7),
    ("/m~0n", 8),
]


@pytest.mark.parametrize(("pointer", "value"), EXAMPLES)
def test_the_examples_of_the_standard(pointer: str, value: Any) -> None:
    """Section 5, all of them."""
    assert found(DOCUMENT, tokens(pointer)) == value


def test_the_order_of_unescaping() -> None:
    """Section 4: ~01 is ~1, not a slash."""
    assert tokens("/~01") == ("~1",)


@pytest.mark.parametrize(
    ("pointer", "words"), [("foo", "no slash"), ("/a~", "has a ~"), ("/a~2", "has a ~"), ("#/a", "no slash")]
)
def test_what_is_no_pointer(pointer: str, words: str) -> None:
    """Section 3's grammar."""
    with pytest.raises(ValueError, match=words):
        tokens(pointer)


@pytest.mark.parametrize(
    "pointer", ["/x", "/foo/2", "/foo/-", "/foo/00", "/foo/01", "/foo/-1", "/foo/1e0", "/foo/ 0", "/a~1b/c", "/foo/0/0",
                "/foo/" + "9" * 5000, "/foo/١"]
)  # fmt: skip
def test_a_place_that_is_not_there_is_named(pointer: str) -> None:
    """Indexes have no leading zero and no sign (section 4); '-' is behind the end."""
    with pytest.raises(ValueError, match="is not there"):
        found(DOCUMENT, tokens(pointer))


def test_only_the_first_step_that_fails_is_named() -> None:
    """As a pointer again."""
    with pytest.raises(ValueError, match="'/foo/5' is not there"):
        found(DOCUMENT, tokens("/foo/5/x/y"))


@given(st.lists(st.text(max_size=8), max_size=5))
@settings(max_examples=500, deadline=None)
def test_any_steps_come_back_from_their_pointer(steps: list[str]) -> None:
    """And lead where they were put."""
    assert tokens(written(tuple(steps))) == tuple(steps)
    document: Any = 42
    for step in reversed(steps):
        document = {step: document}
    assert found(document, tuple(steps)) == 42
