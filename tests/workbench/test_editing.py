"""Fields and text in step: whatever is changed by either, the file reads and remarks stay."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from renderer.errors import RungwiseError
from renderer.notation.definition.text_places import marked, text_places
from renderer.reading.library import shipped_exercises
from renderer.workbench.editing import edit, fields_of
from tests.workbench.benches import WIDE

INLINE = """title = "In lists"
gracenotes = { length = "45 ms" } # short
ladder.from = 50
ladder.to = 60
ladder.step = 10
lines = [
  { run = "low A, B" }, # the first
  { heading = "a # in a text", run = "B, C", ornament = ["doubling", "plain"] },
]
"""
MANY_ROWS = '''title = """Over
two rows # not a remark"""
[[lines]]
abc = \'\'\'{g}A2 B2 | # neither
c4\'\'\' # a remark
[lines.runs]  # an odd heading
span = "third"

  # above the ladder
  [ladder] # a heading's
  tempos = [
    50, # slow
    60,
  ]
'''
TEXTS = [WIDE, INLINE, MANY_ROWS, *(one.path.read_text() for one in shipped_exercises()[::9])]

RUNS = st.lists(st.sampled_from(["low A", "B", "high G"]), min_size=1, max_size=5).map(", ".join)
WORDS = st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]), max_size=12)
TOP = st.one_of(
    st.tuples(st.just(["title"]), WORDS),
    st.tuples(st.just(["tempo"]), st.integers(30, 120)),
    st.tuples(st.just(["meter"]), st.sampled_from(["3/4", "6/8", None])),
    st.tuples(st.just(["level"]), st.one_of(st.none(), WORDS)),
    st.tuples(st.just(["gracenotes", "length"]), st.sampled_from(["40 ms", "60 ms", None])),
    st.tuples(st.just(["ornaments", "inner"]), st.sampled_from(["book", "even", None])),
    st.tuples(st.just(["ladder", "repeats"]), st.sampled_from([1, 2, None])),
)
LINE = st.one_of(
    st.tuples(st.just(["heading"]), st.one_of(st.none(), WORDS)),
    st.tuples(st.just(["run"]), RUNS),
    st.tuples(st.just(["ornament"]), st.sampled_from(["grip", ["grip", "doubling"], None])),
    st.tuples(st.just(["walk"]), st.sampled_from([True, False, None])),
    st.tuples(st.just(["runs", "span"]), st.sampled_from(["third", ["third", "fifth"]])),
)


def changes(count: int) -> st.SearchStrategy[dict[str, Any]]:
    """What fields can ask of a definition with so many lines."""
    asked = TOP.map(lambda one: {"do": "set", "path": one[0], "to": one[1]})
    fresh = RUNS.map(lambda run: {"run": run, "heading": 'A "new" one # here'})
    kinds = [
        asked,
        st.builds(
            lambda at, line: {"do": "insert", "at": at, "line": line}, st.integers(0, count), fresh
        ),
    ]
    if count:
        number = st.integers(0, count - 1)
        kinds += [
            st.builds(
                lambda at, one: {"do": "set", "path": ["lines", at, *one[0]], "to": one[1]},
                number,
                LINE,
            ),
            st.builds(lambda at, to: {"do": "move", "at": at, "to": to}, number, number),
            st.builds(lambda at: {"do": "copy", "at": at}, number),
            st.builds(lambda at: {"do": "remove", "at": at}, number),
        ]
    return st.one_of(kinds)


def typed(text: str, draw: Callable[[Any], Any]) -> str:
    """Change a text as somebody does who types in it: a remark, an empty row, another title."""
    rows = text.split("\n")
    starts = [
        n
        for n, row in enumerate(rows)
        if row.startswith("[")
        and row.rstrip().endswith("]")
        and "\n".join(rows[:n]).count('"""') % 2 == 0
    ]
    at = draw(st.sampled_from(starts or [0]))
    return "\n".join([*rows[:at], draw(st.sampled_from(["# typed", "", "  # in"])), *rows[at:]])


@settings(max_examples=60)
@given(st.data())
def test_fields_and_text_stay_in_step(data: st.DataObject) -> None:
    text = data.draw(st.sampled_from(TEXTS))
    for _ in range(data.draw(st.integers(1, 6))):
        if data.draw(st.booleans()):
            text = typed(text, data.draw)
        before = tomllib.loads(text)
        lines = before.get("lines", [])
        change = data.draw(changes(len(lines)))
        try:
            made = edit(text, change)
        except RungwiseError as error:
            # What is refused is what the text has in a form of its own; nothing is spoilt.
            assert "fields cannot change" in str(error) or "no such place" in str(error)
            continue
        after = fields_of(made)
        assert after is not None
        if change["do"] == "set":
            value: Any = after
            for part in change["path"]:
                value = value.get(part) if isinstance(value, dict) else value[part]
                if value is None:
                    break
            assert value == change["to"]
        else:
            expected = len(lines) + {"insert": 1, "copy": 1, "remove": -1, "move": 0}[change["do"]]
            assert len(after.get("lines", [])) == expected
        if change["do"] != "remove":
            kept = list(text_places(made).remarks)
            for remark in text_places(text).remarks:
                assert remark in kept
                kept.remove(remark)
        text = made


@pytest.mark.parametrize("text", [WIDE, *TEXTS[3:]])
def test_no_change_of_a_usual_file_is_refused(text: str) -> None:
    count = len(tomllib.loads(text)["lines"])
    for change in (
        {"do": "set", "path": ["title"], "to": "x"},
        {"do": "set", "path": ["tempo"], "to": None},
        {"do": "set", "path": ["ornaments", "inner"], "to": "even"},
        {"do": "set", "path": ["lines", count - 1, "heading"], "to": "x"},
        {"do": "set", "path": ["lines", 0, "gracenote"], "to": "60 ms"},
        {"do": "insert", "at": count, "line": {"run": "B, C"}},
        {"do": "insert", "at": 0, "line": {"run": "B, C"}},
        {"do": "move", "at": 0, "to": count - 1},
        {"do": "copy", "at": count - 1},
        {"do": "remove", "at": 0},
    ):
        edit(text, change)


def test_only_the_value_is_another() -> None:
    made = edit(WIDE, {"do": "set", "path": ["tempo"], "to": 72})
    assert made == WIDE.replace("tempo = 60 ", "tempo = 72 ")


def test_a_line_takes_the_remarks_above_it_along() -> None:
    made = edit(WIDE, {"do": "move", "at": 1, "to": 0})
    assert made.index("# as players do") < made.index("The same, closed") < made.index("Low A to D")


def test_what_is_not_readable_is_not_changed_by_fields() -> None:
    with pytest.raises(RungwiseError, match="Put right what is marked"):
        edit('title = "open', {"do": "set", "path": ["title"], "to": "x"})


@pytest.mark.parametrize(
    "change",
    [
        {},
        {"do": "explode"},
        {"do": "set"},
        {"do": "set", "path": []},
        {"do": "set", "path": ["lines", 99, "run"], "to": "B"},
        {"do": "set", "path": ["title", "x"], "to": "B"},
        {"do": "set", "path": ["lines", "x"], "to": "B"},
        {"do": "remove", "at": -1},
        {"do": "remove", "at": True},
        {"do": "insert", "at": 0, "line": "run"},
        {"do": "move", "at": 0, "to": 9},
        {"do": "set", "path": ["title"], "to": {"a": [None]}},
    ],
    ids=str,
)
def test_what_is_no_change_is_refused(change: dict[str, Any]) -> None:
    with pytest.raises(RungwiseError):
        edit(WIDE, change)


@pytest.mark.parametrize(
    ("place", "shown"),
    [
        ("tempo", "60"),
        ("gracenotes.length", '"45 ms"'),
        ("lines[1].run", '"low A, B, D"'),
        ("lines[3].abc: bar 2", '"{g}A2 {d}A2 {e}A2 | {gBd}B6"'),
        ("ladder.step", "10"),
        ("lines[2].orniment", "[[lines]]"),
        ("line 4, column 9", "60                        # beats per minute"),
        ("", "# Larkmoor, for the evening class"),
        ("nothing.here", "# Larkmoor, for the evening class"),
    ],
)
def test_a_problem_is_shown_where_it_stands(place: str, shown: str) -> None:
    where = marked(text_places(WIDE), place)
    assert WIDE[where.start : where.end] == shown
