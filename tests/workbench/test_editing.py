"""Fields and text in step: whatever is changed by either, the file reads and remarks stay."""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Callable
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from renderer.errors import RungwiseError
from renderer.notation.definition.lines import PatternLine
from renderer.notation.definition.reader import read_definition
from renderer.notation.definition.text_places import marked, text_places
from renderer.notation.source_file import Source
from renderer.reading.exercise import read_exercise
from renderer.reading.library import shipped_exercises
from renderer.technique.realise import lines_of_entries
from renderer.workbench.editing import edit, fields_of
from renderer.workbench.shown_music import ShownMusic
from tests.sampling import examples
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
    st.tuples(st.just(["ladder"]), st.sampled_from([None, {"tempos": [50, 60]}])),
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
            st.builds(
                lambda rows: {"do": "arrange", "lines": rows},
                st.lists(st.one_of(number, fresh), min_size=1, max_size=count, unique_by=str),
            ),
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


@examples(60)
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
            said = str(error)
            assert "fields cannot change" in said or "no such place" in said or "`order`" in said
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
        elif change["do"] == "arrange":
            rows = change["lines"]
            assert after["lines"] == [lines[r] if isinstance(r, int) else r for r in rows]
        else:
            expected = len(lines) + {"insert": 1, "copy": 1, "remove": -1, "move": 0}[change["do"]]
            assert len(after.get("lines", [])) == expected
        takes_out = change["do"] in ("remove", "arrange") or change.get("path") == ["ladder"]
        if not takes_out:
            kept = list(text_places(made).remarks)
            for remark in text_places(text).remarks:
                assert remark in kept
                kept.remove(remark)
        text = made


def valid_changes(lines: list[dict[str, Any]]) -> st.SearchStrategy[dict[str, Any]]:
    """Changes by fields that leave a definition as it may be."""

    def put(*path: str | int, to: st.SearchStrategy[Any]) -> st.SearchStrategy[dict[str, Any]]:
        return to.map(lambda value: {"do": "set", "path": list(path), "to": value})

    count = len(lines)
    kinds = [
        put("title", to=st.sampled_from(["A title", 'With "signs" # in it', None])),
        put("tempo", to=st.sampled_from([48, 72.5, None])),
        put("gracenotes", "placement", to=st.sampled_from(["on the beat", "before the beat"])),
        put("ornaments", "inner", to=st.sampled_from(["book", "even", "1/2 beat", None])),
        put("ornaments", "beat", to=st.sampled_from(["first", "last", None])),
        put("ladder", to=st.sampled_from([None, {"tempos": [40, 44]}])),
        st.builds(
            lambda at, run: {"do": "insert", "at": at, "line": {"run": run, "heading": "New"}},
            st.integers(0, count),
            RUNS,
        ),
        st.permutations(range(count)).map(lambda rows: {"do": "arrange", "lines": rows}),
    ]
    for at, line in enumerate(lines):
        kinds += [
            put("lines", at, "heading", to=st.sampled_from(["Other", None])),
            put("lines", at, "gracenote", to=st.sampled_from(["60 ms", None])),
            put("lines", at, "placement", to=st.sampled_from(["before the beat", None])),
            st.just({"do": "copy", "at": at}),
        ]
        if "run" in line:
            kinds.append(put("lines", at, "run", to=RUNS))
        if count > 1:
            kinds.append(st.just({"do": "remove", "at": at}))
    return st.one_of(kinds)


@examples(25)
@given(st.data())
def test_what_the_screen_shows_is_what_the_reader_reads(data: st.DataObject) -> None:
    text = data.draw(st.sampled_from([WIDE, *TEXTS[3:]]))
    for _ in range(data.draw(st.integers(1, 4))):
        if data.draw(st.booleans()):
            text = typed(text, data.draw)
        try:
            text = edit(text, data.draw(valid_changes(tomllib.loads(text)["lines"])))
        except RungwiseError as error:
            assert "`order`" in str(error)
    written = text.encode()
    definition = read_definition(Source("a.toml", written))
    fields = fields_of(text)
    assert fields is not None
    assert definition.title == (fields.get("title") or "a")
    assert definition.tempo == Fraction(str(fields.get("tempo", 60)))
    assert [one.get("heading", "") for one in fields["lines"]] == [
        one.each.heading if isinstance(one, PatternLine) else one.heading
        for one in definition.lines
    ]
    exercise = read_exercise(Source("a.toml", written))
    shown = ShownMusic().read("a.toml", written)
    assert shown["problems"] == []
    assert (shown["title"], shown["tempo"]) == (exercise.title, str(exercise.tempo))
    assert [row["heading"] for row in shown["lines"]] == [line.heading for line in exercise.lines]
    counts = Counter(row["entry"] for row in shown["lines"])
    assert tuple(counts[n] for n in range(len(counts))) == lines_of_entries(definition)


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


def test_a_ladder_is_a_table_of_its_own_and_goes_with_its_remarks() -> None:
    without = edit(MANY_ROWS, {"do": "set", "path": ["ladder"], "to": None})
    assert "tempos" not in without and "# slow" not in without and "# neither" in without
    ladder = {"from": 40, "to": 60, "step": 10}
    made = edit(WIDE.partition("\n[ladder]")[0], {"do": "set", "path": ["ladder"], "to": ladder})
    assert made.endswith("\n[ladder]\nfrom = 40\nto = 60\nstep = 10\n")


def test_lines_are_put_in_order_with_their_remarks_and_others_go() -> None:
    made = edit(WIDE, {"do": "arrange", "lines": [2, 1]})
    assert made.index("Written out") < made.index("# as players do") < made.index("same, closed")
    assert "Low A to D" not in made and "# one beat each" not in made
    assert made.endswith("\n[ladder]\nfrom = 50\nto = 80\nstep = 10\n")
    assert edit(WIDE, {"do": "arrange", "lines": [0, 1, 2]}) == WIDE


def test_lines_whose_numbers_are_used_keep_them() -> None:
    with pytest.raises(RungwiseError, match="Take `order` out"):
        edit(f"order = [1, 2, 1]\n{WIDE}", {"do": "arrange", "lines": [1, 0, 2]})


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
        {"do": "arrange", "lines": []},
        {"do": "arrange", "lines": [0, 0]},
        {"do": "arrange", "lines": [3]},
        {"do": "arrange", "lines": {"0": 1}},
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


CLASS = """# the juniors
title = "Larkmoor juniors"
exercises = [  # by level
  "wide.toml",   # the wide step
  { file = "birl.toml", for = ["Jamie"] }
]

[[learners]]
name = "Jamie"
pitch = "B flat"   # an old chanter

# on Mondays
[[groups]]
name = "Chanters at A"
learners = ["Ailsa", "Rory"]
"""


def test_a_class_is_changed_where_its_learners_and_exercises_stand() -> None:
    text = edit(CLASS, {"do": "insert", "list": "exercises", "at": 2, "line": "grips.toml"})
    assert '  { file = "birl.toml", for = ["Jamie"] },\n  "grips.toml"\n]' in text
    text = edit(text, {"do": "insert", "list": "exercises", "at": 0, "line": "first.toml"})
    assert '[  # by level\n  "first.toml",\n  "wide.toml",   # the wide step\n' in text
    text = edit(text, {"do": "remove", "list": "exercises", "at": 1})
    assert "wide" not in text and "# by level" in text
    entry = {"file": "first.toml", "for": ["Ailsa"]}
    text = edit(text, {"do": "set", "path": ["exercises", 0], "to": entry})
    assert '  { file = "first.toml", for = ["Ailsa"] },\n' in text or 'file = "first.toml"' in text
    text = edit(text, {"do": "insert", "list": "learners", "at": 1, "line": {"name": "Isla"}})
    assert text.index("Isla") < text.index("# on Mondays")
    text = edit(text, {"do": "set", "path": ["learners", 0, "minutes"], "to": 15})
    text = edit(text, {"do": "set", "path": ["learners", 0, "pitch"], "to": "A"})
    assert 'pitch = "A"   # an old chanter\nminutes = 15\n' in text
    text = edit(text, {"do": "remove", "list": "learners", "at": 0})
    text = edit(text, {"do": "insert", "list": "groups", "at": 0, "line": {"name": "At A"}})
    text = edit(text, {"do": "remove", "list": "groups", "at": 1})
    found = tomllib.loads(text)
    assert [one["name"] for one in found["learners"]] == ["Isla"]
    assert [one["name"] for one in found["groups"]] == ["At A"]
    assert len(found["exercises"]) == 3 and text.startswith("# the juniors\n")


ROWS = st.sampled_from(
    [
        'exercises = ["a.toml"]\n',
        'exercises = ["a, b.toml", { file = "c.toml" }]  # two\n',
        "exercises = [\n  'a.toml',\n  # between\n  \"b [1].toml\",\n]\n",
        'exercises = [\n  "a.toml", "b.toml", # both\n  "c.toml" # last\n  ]\n',
        'title = "None yet"\n',
    ]
)


@examples(80)
@given(ROWS, st.data())
def test_exercises_of_a_pack_stay_in_step(text: str, data: st.DataObject) -> None:
    text += '\n[[learners]]\nname = "Jamie"\n'
    for _ in range(data.draw(st.integers(1, 5))):
        before = tomllib.loads(text).get("exercises", [])
        at = data.draw(st.integers(0, max(0, len(before) - 1)))
        do = data.draw(
            st.sampled_from(["insert", "remove", "copy", "move"] if before else ["insert"])
        )
        change = {"do": do, "list": "exercises", "at": at, "line": 'new "one".toml', "to": 0}
        wanted = list(before)
        if do == "insert":
            change["at"] = at = data.draw(st.integers(0, len(before)))
            wanted.insert(at, 'new "one".toml')
        elif do == "copy":
            wanted.insert(at, wanted[at])
        else:
            one = wanted.pop(at)
            if do == "move":
                wanted.insert(0, one)
        try:
            made = edit(text, change)
        except RungwiseError as error:
            # Where a remark would go astray.
            assert "fields cannot change" in str(error) and "#" in text
            continue
        assert tomllib.loads(made).get("exercises", []) == wanted
        text = made
