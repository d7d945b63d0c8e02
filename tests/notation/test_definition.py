"""Definitions: what a teacher writes is understood, and every mistake is named at once."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from renderer.errors import RungwiseError
from renderer.notation.definition.lines import AbcLine, RunLine
from renderer.notation.definition.reader import parse_definition, read_definition
from renderer.notation.length import Length
from renderer.notation.pitch import Note
from renderer.notation.playing import Inner
from renderer.notation.score import Meter

GOOD = """
title = "Doublings over a wide step"
for = "Larkmoor evening class"
meter = "3/4"
tempo = 62.5

[gracenotes]
length = "40 ms"
placement = "before the beat"

[ornaments]
inner = "1/3 beat"

[[lines]]
heading = "Low A to D"
run = "low A, B; D"
ornament = "doubling"
walk = true

[[lines]]
abc = "{g}A2 {d}A2 | {gBd}B4"
inner = "80 ms"

[ladder]
from = 50
to = 80
step = 12
repeats = 2
"""

MISTAKES = [
    ("tempo = 0", "tempo", "from 10 to 400"),
    ("tempo = 10000", "tempo", "from 10 to 400"),
    ("tempo = inf", "tempo", "from 10 to 400"),
    ('tempo = "fast"', "tempo", "write beats per minute, such as 60"),
    ('meter = "3/5"', "meter", "1, 2, 4, 8 or 16"),
    ('meter = "waltz"', "meter", "no meter"),
    ('gracenotes.length = "0 ms"', "gracenotes.length", "from 10 ms to 250 ms"),
    ('gracenotes.length = "5000 ms"', "gracenotes.length", "from 10 ms to 250 ms"),
    ('gracenotes.length = "5/4 beats"', "gracenotes.length", "write up to 1 beat"),
    ('ornaments.beat = "middle"', "ornaments.beat", "write 'first', 'last'"),
    ("ornaments.beat = 0", "ornaments.beat", "write 'first', 'last'"),
    ('ornaments.inner = ["50 ms", "1/2 beat"]', "ornaments.inner", "all its parts in ms"),
    ('ornaments.inner = "5 ms"', "ornaments.inner", "from 15 ms to 2000 ms"),
    ("gracenotes.length = 45", "gracenotes.length", "write it like '45 ms'"),
    ("ornaments.inner = 0.5", "ornaments.inner", "write it like '50 ms', or '1/2 beat'"),
    ("meter = 3", "meter", "write it like '3/4' or '6/8'"),
    ("meter = ['3/4']", "meter", 'write one text in quotes: meter = "3/4"'),
    ("title = 7", "title", 'write title = "7"'),
    ("gracenotes = '45 ms'", "gracenotes", 'write it like gracenotes = { length = "45 ms" }'),
    ("ladder = 60", "ladder", "write it like ladder = { from = 50, to = 80, step = 10 }"),
    ("ladder.tempos = 60", "ladder.tempos", "such as [50, 60, 75]"),
    ("[[ladder]]\nfrom = 50", "ladder", "write [ladder] in single brackets"),
    ("ladder.percent = 'true'", "ladder.percent", "write percent = true or percent = false"),
    ('gracenotes.placement = "late"', "gracenotes.placement", "'before the beat'"),
    ('ornaments.inner = "1/0 beat"', "ornaments.inner", "1/2 beat"),
    ('ornaments.inner = "9 beats"', "ornaments.inner", "up to 4 beats"),
    ("titel = 'x'", "titel", "did you mean `title`"),
    ("ladder.tempos = []", "ladder", "list 1 to 100 tempos"),
    ("ladder.from = 50", "ladder", "lacks to and step"),
    ("ladder = {from = 50, to = 80, step = 0}", "ladder", "above 0"),
    ("ladder = {from = 10, to = 400, step = 0.1}", "ladder", "larger step"),
    ("ladder = {tempos = [50, 9000]}", "ladder", "from 10 to 400"),
    ("ladder = {tempos = [50], repeats = 0}", "ladder", "from 1 to 10000"),
    (f'title = "{"x" * 501}"', "title", "write up to 500"),
    ('tempo = "60"', "tempo", "write the number alone, without quotes: 60"),
    ("[gracenotes]\ntempo = 60", "gracenotes.tempo", "write it at the top of the file"),
    ('inner = "100 ms"', "inner", "write it under [ornaments], under [[lines]] or under [ladder]"),
    ("tempo = true", "tempo", "true is not a number"),
    ("tempo = 2024-01-01", "tempo", "2024-01-01 is not a number"),
]


def line_mistake(line: str) -> str:
    with pytest.raises(RungwiseError) as caught:
        parse_definition(f'[[lines]]\nrun = "B"\n[[lines]]\n{line}\n')
    assert len(caught.value.problems) == 1
    assert caught.value.problems[0].place.startswith("lines[2]")
    return str(caught.value)


def test_a_definition_is_read_as_it_was_written() -> None:
    definition = parse_definition(GOOD)
    assert definition.title == "Doublings over a wide step"
    assert definition.audience == "Larkmoor evening class"
    assert definition.meter == Meter(3, 4)
    assert definition.tempo == Fraction(125, 2)
    assert definition.gracenotes.length == Length(Fraction(40), "ms")
    assert definition.gracenotes.placement == "before the beat"
    assert definition.inner == Inner((Length(Fraction(1, 3), "beat"),))
    run, abc = definition.lines
    assert run == RunLine((Note.LOW_A, Note.B, Note.D), ("doubling",), True, "Low A to D")
    assert isinstance(abc, AbcLine)
    assert abc.inner == Inner((Length(Fraction(80), "ms"),))
    assert definition.ladder is not None
    assert definition.ladder.repeats == 2


def test_a_ladder_always_ends_on_its_last_tempo() -> None:
    ladder = parse_definition(GOOD).ladder
    assert ladder is not None
    assert ladder.tempos == (50, 62, 74, 80)


def test_a_ladder_may_go_down_or_be_a_list_or_per_cent() -> None:
    text = '[[lines]]\nrun = "B"\n[ladder]\n'
    down = parse_definition(text + "from = 80\nto = 60\nstep = 10").ladder
    listed = parse_definition(text + "tempos = [60, 55.5, 90]\npercent = true").ladder
    assert down is not None and listed is not None
    assert down.tempos == (80, 70, 60)
    assert (listed.tempos, listed.percent) == ((60, Fraction("55.5"), 90), True)


def test_a_file_without_a_title_takes_its_name(tmp_path: Path) -> None:
    path = tmp_path / "Morning tap-in.toml"
    path.write_text('[[lines]]\nrun = "B"')
    assert read_definition(path).title == "Morning tap-in"


@pytest.mark.parametrize(("text", "place", "says"), MISTAKES)
def test_each_mistake_is_named_with_its_place_and_remedy(text: str, place: str, says: str) -> None:
    with pytest.raises(RungwiseError) as caught:
        parse_definition(f'{text}\n[[lines]]\nrun = "B"', source="a file.toml")
    (problem,) = caught.value.problems
    assert (problem.file, problem.place) == ("a file.toml", place)
    assert says in f"{problem.cause} {problem.remedy}"


def test_every_mistake_of_a_file_is_reported_at_once() -> None:
    text = 'titel = "x"\ntempo = 0\nmeter = "9"\n[[lines]]\nrun = "low A, H"\nwalk = 3\n'
    with pytest.raises(RungwiseError) as caught:
        parse_definition(text)
    places = [problem.place for problem in caught.value.problems]
    assert places == ["meter", "tempo", "lines[1].run", "lines[1].walk", "titel"]


def test_a_note_that_a_chanter_lacks_lists_the_nine() -> None:
    message = line_mistake('run = "low A, H sharp"')
    assert "low G, low A, B, C, D, E, F, high G, high A" in message


def test_a_bare_a_is_refused_since_a_chanter_has_two() -> None:
    assert "low A or high A" in line_mistake('run = "A, B"')


def test_a_line_has_one_kind_of_music() -> None:
    assert "no music" in line_mistake('heading = "Nothing"')
    assert "run and abc" in line_mistake('run = "B"\nabc = "B"')


def test_a_walk_needs_an_ornament_to_walk() -> None:
    assert "add an `ornament`" in line_mistake('run = "B"\nwalk = true').casefold()


def test_a_run_has_a_sane_length() -> None:
    assert "at most 64" in line_mistake(f'run = "{", ".join(["B"] * 65)}"')


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "empty"),
        (b"\x00\xff\xfe\x80", "not a text file"),
        (b"title = ", "has no value"),
        (b'title = "x"', "`lines` is missing"),
        (b"lines = []", "1 to 5000"),
        (b"a = " + b"[" * 5000, "nested too deeply"),
    ],
)
def test_what_is_no_definition_gets_a_clear_message(
    tmp_path: Path, content: bytes, says: str
) -> None:
    path = tmp_path / "with space é.toml"
    path.write_bytes(content)
    with pytest.raises(RungwiseError) as caught:
        read_definition(path)
    assert str(path) in str(caught.value)
    assert says in str(caught.value)


def test_a_missing_file_and_a_folder_are_told_apart(tmp_path: Path) -> None:
    with pytest.raises(RungwiseError, match="no such file"):
        read_definition(tmp_path / "none.toml")
    with pytest.raises(RungwiseError, match="folder"):
        read_definition(tmp_path)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("title = \N{LEFT DOUBLE QUOTATION MARK}Birls\N{RIGHT DOUBLE QUOTATION MARK}", "straight"),
        ("tempo = 60\ntempo = 70", "write each key once"),
        ("tempo = " + "9" * 5000, "write a shorter one"),
        ("tempo" + '.a."b"' * 500_000 + " = 1", "write keys as in the README"),
        ('[lines]\nrun = "B"', "write [[lines]] in double brackets"),
    ],
)
def test_slips_of_the_pen_get_a_remedy_of_their_own(text: str, says: str) -> None:
    with pytest.raises(RungwiseError) as caught:
        parse_definition(text)
    assert says in caught.value.problems[0].remedy
