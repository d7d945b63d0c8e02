"""Slips of the pen in definitions: each is named for what it is, with what would be right."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from renderer.errors import Problem, RungwiseError
from renderer.notation.abc.reader import read_abc_line
from renderer.notation.definition.reader import parse_definition, read_definition
from renderer.notation.score import Meter
from renderer.reading.exercise import read_exercise

GOOD = (
    'title = "Piobaireachd f\N{LATIN SMALL LETTER U WITH DIAERESIS}r alle"\n[[lines]]\nrun = "B"\n'
)


def problem_of(text: str) -> Problem:
    with pytest.raises(RungwiseError) as caught:
        parse_definition(text)
    (problem,) = caught.value.problems
    return problem


@pytest.mark.parametrize("written", ["yes", "True", "NO", "on"])
def test_true_and_false_are_written_in_small_letters(written: str) -> None:
    problem = problem_of(f'[[lines]]\nrun = "B"\nornament = "strike"\nwalk = {written}  # a walk')
    assert problem.cause == f"{written} is not true or false"
    assert problem.remedy == "write walk = true or walk = false, in small letters"


@pytest.mark.parametrize(
    "text", ['title = "Birls\ntempo = 60', "title = 'Birls", 'a = ["b"]\ntitle = "c']
)
def test_a_quote_that_is_not_closed_is_named(text: str) -> None:
    assert "quote" in f"{problem_of(text).cause} {problem_of(text).remedy}"


@pytest.mark.parametrize("quotes", ["“”", "‘’", "„“", "‚‘"])
def test_curly_quotes_are_named_single_ones_too(quotes: str) -> None:
    opening, closing = quotes[0], quotes[1]
    for text in (f"title = {opening}Birls{closing}", f'span = ["third", {opening}fourth{closing}]'):
        assert "straight quotes" in problem_of(text).remedy


def test_an_apostrophe_is_no_curly_quote() -> None:
    assert "straight" not in problem_of('title = "The piper’s day\ntempo = 60').remedy


def test_a_key_written_twice_is_named_with_its_first_line() -> None:
    problem = problem_of('tempo = 60\nmeter = "3/4"\ntempo = 70')
    assert (problem.cause, problem.place[:6]) == (
        "`tempo` is written twice, first in line 1",
        "line 3",
    )
    again = problem_of('[[lines]]\nrun = "B"\nrun = "C"')
    assert again.remedy == "write each key once, and [[lines]] before each new line"
    assert "`span` is written twice" in problem_of('runs = {span = "a", span = "b"}').cause
    assert problem_of("[ladder]\nfrom = 1\n[ladder]\nto = 2").cause == "[ladder] is written twice"


@pytest.mark.parametrize(
    "text",
    [
        '[lines]\nrun = "B"\n[lines]\nrun = "D"',
        '[lines]\nrun = "B"\n[[lines]]\nrun = "D"',
        '[[lines]]\nrun = "B"\n[lines]\nrun = "D"',
        '[lines]\nrun = "B"',
        '[[lines]\nrun = "B"',
        '[lines]]\nrun = "B"',
    ],
)
def test_single_brackets_round_lines_are_named(text: str) -> None:
    assert problem_of(text).remedy.startswith("write [[lines]] in double brackets")


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ("meter = 3/4", 'write it as "3/4"'),
        ("run = low A, B, D  # a run", 'write it as "low A, B, D"'),
        ("runs = { span = fourth }", 'write it as "fourth"'),
        ("length = 45 ms", 'write it as "45 ms"'),
        ("tempo = 62,5", "write tempo = 62.5, with a point"),
        ("tempo = 060", "write the number alone, as tempo = 60"),
        ("from = 50%", "write the number alone, as from = 50"),
        ("tempo: 60", "write tempo = 60"),
        ("Title: Monday class", 'write title = "Monday class"'),
        ("tempo =", "write it after the ="),
        ("notes per beat = 2", "join the words of a key, as in notes-per-beat"),
        ('title = "The "Larkmoor" set"', "write single quotes inside it"),
        ("title = 'The piper's day'", "put the text in double quotes, where ' is a letter"),
        ('tempo = 60 meter = "3/4"', "write each on a line of its own"),
        ('runs = { span = "fourth", }', "write all from { to } on one line"),
        ('ornament = ["grip", "birl"', "close it with ]"),
        ("tempo = 60 bpm", "write the number alone, as tempo = 60"),
        ('title = "grips\\shakes"', "write the text in single quotes"),
        ("[ladder", "write [ladder]"),
        ("X:1\nT:Birls", "give the file a name that ends in .abc"),
    ],
)
def test_what_is_no_toml_gets_the_remedy_for_its_own_slip(text: str, remedy: str) -> None:
    assert problem_of(text).remedy.startswith(remedy)


@given(st.text(alphabet="[]{}=\"'#,.\\ \n\r\talines13tru‘”", max_size=40))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    try:
        parse_definition(text)
    except RungwiseError as error:
        assert all(problem.cause and problem.remedy for problem in error.problems)


@pytest.mark.parametrize("form", ["utf-8", "utf-8-sig", "utf-16"])
def test_text_that_says_how_it_was_saved_is_read(tmp_path: Path, form: str) -> None:
    path = tmp_path / "wide.toml"
    path.write_bytes(GOOD.encode(form))
    assert read_definition(path).title == "Piobaireachd für alle"


@pytest.mark.parametrize(
    ("form", "says"),
    [("latin-1", "line 1 has a letter"), ("utf-16-le", "UTF-16"), ("utf-16-be", "")],
)
def test_another_encoding_is_named_with_what_to_do_in_the_editor(
    tmp_path: Path, form: str, says: str
) -> None:
    path = tmp_path / "wide.toml"
    path.write_bytes(GOOD.encode(form))
    with pytest.raises(RungwiseError) as caught:
        read_definition(path)
    (problem,) = caught.value.problems
    assert "not saved as UTF-8" in problem.cause or "UTF-16, not as UTF-8" in problem.cause
    assert says in problem.cause
    assert "(Save as) with the encoding UTF-8" in problem.remedy


def test_a_name_that_is_nearly_a_file_is_answered_with_the_file(tmp_path: Path) -> None:
    (tmp_path / "wide.toml.txt").write_text(GOOD, encoding="utf-8")
    for name in ("wide.toml", "wide", "Wide.toml.tx"):
        with pytest.raises(RungwiseError, match=r"Did you mean wide.toml.txt\?$"):
            read_exercise(tmp_path / name)


@pytest.mark.parametrize(
    ("abc", "meter", "says"),
    [
        ("A8 B8 d8", Meter(4, 4), "it is 8/4, 8 beats, too much"),
        ("A8 | A3 | A8", Meter(4, 4), "it is 5/8, 2 1/2 beats, too little"),
        ("A3 A3 A3", Meter(6, 8), "it is 3/8, 1 beat, too much"),
    ],
)
def test_a_bar_that_does_not_add_up_says_by_how_many_beats(
    abc: str, meter: Meter, says: str
) -> None:
    with pytest.raises(RungwiseError) as caught:
        read_abc_line(abc, meter)
    assert says in caught.value.problems[0].remedy


@pytest.mark.parametrize(
    ("line", "place", "remedy"),
    [
        ("runs = { span = 4 }", "runs.span", "write an interval, as 'fourth' or 'third to"),
        ("runs = { direction = 1 }", "runs.direction", "write 'rising', 'falling', 'both' or"),
        ('runs = "fourth rising"', "runs", 'write it like runs = { span = "fourth", direction ='),
        ('scale = "third"', "scale", 'write it like scale = { step = "third" }'),
        ('against = "low A"', "against", 'write it like against = { note = "low A" }'),
        ("against = {}", "against.note", "write a note's name, as 'low A'"),
        ('run = ["low A", "B"]', "run", 'write one text in quotes: run = "low A, B"'),
        (
            'run = "B"\nornament = 3',
            "ornament",
            "write a movement's name, as 'doubling', or a list",
        ),
        ('run = "B"\nornament = ["grip", 3]', "ornament[2]", "write a movement's name"),
        (
            'run = "B"\nornament = "grip"\non = "x"',
            "on",
            "write 'every', 'first', 'last', or notes",
        ),
        ('run = "B"\nrhythm = true', "rhythm", "write 'even', 'dot-cut'"),
        ('run = "B"\nnotes-per-beat = 1.5', "notes-per-beat", "write a whole number, such as 2"),
        ('run = "B"\nornament = "grip"\nwalk = "yes"', "walk", "write walk = true or walk = false"),
        ('run = "B"\nspan = "fourth"', "span", "write it in runs = { }"),
    ],
)
def test_each_field_shows_its_own_right_form_once(line: str, place: str, remedy: str) -> None:
    problem = problem_of(f"[[lines]]\n{line}\n")
    assert problem.place == f"lines[1].{place}"
    assert problem.remedy.startswith(remedy)


def test_choices_may_be_written_with_capitals_and_spaces() -> None:
    text = (
        '[gracenotes]\nplacement = "Before the beat"\n[[lines]]\nrun = "B, C"\nrhythm = "Dot cut"'
    )
    definition = parse_definition(text)
    assert definition.gracenotes.placement == "before the beat"
    assert getattr(definition.lines[0], "rhythm", "") == "dot-cut"
