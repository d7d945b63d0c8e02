"""Patterns of a definition: one entry becomes the lines that a teacher means by it."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from renderer.errors import RungwiseError
from renderer.notation.definition.lines import RunLine
from renderer.notation.definition.pattern import INTERVALS
from renderer.notation.definition.reader import Definition, parse_definition
from renderer.notation.definition.text import definition_text
from renderer.notation.pitch import Note
from renderer.notation.score import Exercise, Line, MelodyNote
from renderer.notation.source_file import Source
from renderer.reading.exercise import read_exercise
from renderer.technique.realise import expand_definition, realise
from renderer.technique.report import line_difficulty
from tests.sampling import examples


def definition(line: str, head: str = "") -> Definition:
    return parse_definition(f"{head}\n[[lines]]\n{line}\n")


def expanded(line: str, head: str = "") -> list[RunLine]:
    lines = expand_definition(definition(line, head)).lines
    assert all(isinstance(one, RunLine) for one in lines)
    return [one for one in lines if isinstance(one, RunLine)]


def runs(line: str) -> list[str]:
    return ["".join(note.abc for note in one.notes) for one in expanded(line)]


def music(line: str, head: str = "") -> list[str]:
    """Each line in letters: slots, lengths in beats where they are not 1, `~` where tied."""
    return [_letters(one) for one in realise(definition(line, head)).lines]


def _letters(line: Line) -> str:
    def note(item: MelodyNote) -> str:
        slots = "".join(slot.abc for slot in item.slots)
        length = "" if item.beats == 1 else f":{item.beats}"
        return slots + length + ("~" if item.tied else "")

    return " | ".join(
        " ".join(note(item) for item in bar.items if isinstance(item, MelodyNote))
        for bar in line.bars
    )


def mistake(line: str, head: str = "") -> str:
    with pytest.raises(RungwiseError) as caught:
        realise(definition(line, head))
    assert len(caught.value.problems) == 1
    return str(caught.value)


def test_every_rising_fourth_is_written_out_from_the_lowest() -> None:
    found = runs('runs = { span = "fourth", direction = "rising" }')
    assert found == ["GAc", "GBc", "ABd", "Acd", "Bce", "Bde", "cdf", "cef"]


def test_both_directions_give_rising_runs_first_and_turning_ones_are_asked_for() -> None:
    both = runs('runs = { span = "third", among = "low G to C" }')
    assert both == ["GAB", "ABc", "BAG", "cBA"]
    turning = runs('runs = { span = "third", direction = "turning", among = "low G to B" }')
    assert sorted(turning) == ["ABG", "AGB", "BGA", "GBA"]


def test_runs_may_begin_and_end_on_notes_that_are_fixed() -> None:
    found = runs('runs = { start = "low A, B", end = "E", direction = "rising" }')
    assert found == ["ABe", "Ace", "Ade", "Bce", "Bde"]


def test_only_the_notes_named_take_part() -> None:
    found = runs('runs = { among = "low A, C, E, high A", direction = "rising", span = "fifth" }')
    assert found == ["Ace"]


def test_a_limit_keeps_the_first_lines() -> None:
    assert runs('runs = { limit = 3, direction = "rising" }') == ["GAB", "GAc", "GAd"]


def test_runs_come_from_easy_to_hard_when_asked() -> None:
    line = 'runs = { span = "fifth", order = "difficulty" }\nornament = "doubling"\nwalk = true'
    exercise = realise(definition(line))
    difficulties = [line_difficulty(one) for one in exercise.lines]
    assert difficulties == sorted(difficulties)
    by_pitch = {_letters(one) for one in realise(definition(line.replace("difficulty", "pitch")))}
    assert {_letters(one) for one in exercise.lines} == by_pitch


def test_the_easiest_lines_are_kept_when_difficulty_orders_and_a_limit_cuts() -> None:
    line = 'runs = { span = "fifth", order = "difficulty" }\nornament = "grip"\non = "B to F"'
    every = [_letters(one) for one in realise(definition(line)).lines]
    some = realise(definition(line.replace('"difficulty"', '"difficulty", limit = 4'))).lines
    assert [_letters(one) for one in some] == every[:4]
    line = 'runs = { span = "fifth", order = "difficulty" }\nornament = "doubling"\nwalk = true'
    every = [_letters(one) for one in realise(definition(line)).lines]
    by_pitch = [
        _letters(one) for one in realise(definition(line.replace("difficulty", "pitch"))).lines
    ]
    some = realise(definition(line.replace('"difficulty"', '"difficulty", limit = 4'))).lines
    assert [_letters(one) for one in some] == every[:4]
    assert set(every[:4]) != set(by_pitch[:4])


def test_a_walk_is_a_plain_pass_and_one_pass_for_each_note() -> None:
    line = 'run = "low A, B, D"\nornament = "doubling"\nwalk = true'
    assert music(line) == ["A B d | {g}A{d}A B d | A {g}B{d}B d | A B {g}d{e}d"]
    assert music(f"{line}\nplain = false") == ["{g}A{d}A B d | A {g}B{d}B d | A B {g}d{e}d"]


def test_two_ornaments_walk_in_alternation() -> None:
    line = 'run = "low A, B"\nornament = ["doubling", "grip"]\nwalk = true\nplain = false'
    assert music(line) == ["{g}A{d}A B | G{d}GA B | A {g}B{d}B | A G{d}GB"]


def test_two_ornaments_alternate_along_a_run_that_does_not_walk() -> None:
    line = 'run = "low A, B, C"\nornament = ["strike", "plain"]'
    assert music(line) == ["{G}A B {G}c"]


def test_an_ornament_goes_where_it_is_wanted() -> None:
    line = 'run = "low A, D, B, D"\nornament = "throw on D"\non = '
    assert music(f'{line}"D"') == ["A G{d}cd B G{d}cd"]
    assert music(f'{line}"last"') == ["A d B G{d}cd"]
    assert music(f'{line}"first"'.replace("low A, D", "D, low A")) == ["G{d}cd A B d"]
    assert music(f'{line}"D"\nwalk = true\nplain = false') == ["A G{d}cd B d | A d B G{d}cd"]


def test_runs_without_a_note_that_carries_the_ornament_are_left_out() -> None:
    found = runs('runs = { span = "third", direction = "rising" }\nornament = "birl"\non = "low A"')
    assert found == ["GAB", "ABc"]


def test_a_scale_goes_up_and_down_and_turns_without_a_note_twice() -> None:
    (line,) = expanded("scale = {}")
    assert "".join(note.abc for note in line.notes) == "GABcdefgagfedcBAG"
    (thirds,) = expanded('scale = { step = "third", to = "D" }')
    assert "".join(note.abc for note in thirds.notes) == "GBAcBdcABG"


def test_a_scale_in_any_step_has_no_note_twice_in_a_row() -> None:
    for step in INTERVALS:
        for direction in ("rising", "falling", "both"):
            (line,) = expanded(f'scale = {{ step = "{step}", direction = "{direction}" }}')
            assert all(a != b for a, b in zip(line.notes, line.notes[1:], strict=False))


def test_one_note_is_played_against_each_of_the_others_with_the_ornament_on_those() -> None:
    line = 'against = { note = "low A", others = "C, E" }\nornament = "doubling"'
    assert music(line, 'meter = "4/4"') == ["A {g}c{d}c A {g}e{f}e"]
    assert music(line, 'meter = "3/4"') == ["A {g}c{d}c:2 | A {g}e{f}e:2"]


def test_the_note_itself_carries_the_ornament_from_each_of_the_others_where_on_names_it() -> None:
    line = 'against = { note = "low A", others = "B, D" }\nornament = "birl"\non = "low A"'
    assert music(line) == ["B GAGA d GAGA"]
    some = 'against = { note = "low A", others = "B to D" }\nornament = "grip"\non = "D"'
    assert music(some, 'meter = "2/4"') == ["A B | A c | A G{d}Gd"]


def test_a_note_without_the_movement_shows_which_notes_to_put_it_on() -> None:
    says = "Only low A has one: write on = 'low A'."
    assert says in mistake('against = { note = "low A" }\nornament = "birl"')
    assert says in mistake('run = "B, low A"\nornament = "birl"')
    assert "write on" not in mistake('run = "B, C"\nornament = "birl"')
    assert "write on" not in mistake('run = "B"\nornament = "dubling"')
    assert says in mistake('scale = { from = "low G", to = "low A" }\nornament = "birl"')
    assert "write on" not in mistake('scale = { to = "C" }\nornament = "throw on D"')
    # Both notes have a doubling; it is the way to the second that has none.
    from_above = mistake(
        'run = "high A, E"\nornament = "doubling"', '[ornaments]\nimpossible = "error"'
    )
    assert "cannot be played" in from_above
    assert "write on" not in from_above


def test_a_movement_is_put_on_every_note_in_turn() -> None:
    line = 'each = "low A, B"\nornament = "doubling"'
    assert music(line) == ["A {g}A{d}A | B {g}B{d}B"]


def test_a_gracenote_ladder_puts_g_d_and_e_on_each_note() -> None:
    line = (
        'each = "low A, B"\nornament = ["G gracenote", "D gracenote", "E gracenote"]\nplain = false'
    )
    assert music(line) == ["{g}A {d}A {e}A | {g}B {d}B {e}B"]


def test_rhythms_divide_the_beat_as_pipers_drill_them() -> None:
    line = 'run = "low A, B, C, D, E, F"\n'
    assert music(line + 'rhythm = "dot-cut"') == ["A:3/4 B:1/4 c:3/4 d:1/4 e:3/4 f:1/4"]
    assert music(line + 'rhythm = "cut-dot"') == ["A:1/4 B:3/4 c:1/4 d:3/4 e:1/4 f:3/4"]
    assert music(line + 'rhythm = "triplets"') == ["A:1/3 B:1/3 c:1/3 d:1/3 e:1/3 f:1/3"]
    assert music(line + "notes-per-beat = 2") == ["A:1/2 B:1/2 c:1/2 d:1/2 e:1/2 f:1/2"]
    compound = music(line + 'rhythm = "dot-cut"', 'meter = "6/8"')
    assert compound == ["A:1/2 B:1/6 c:1/3 d:1/2 e:1/6 f:1/3"]


def test_a_last_note_is_held_to_the_end_of_its_bar_and_tied_from_within_a_beat() -> None:
    line = 'run = "low A, B, C, D, E"\nrhythm = "triplets"'
    assert music(line, 'meter = "3/4"') == ["A:1/3 B:1/3 c:1/3 d:1/3 e:2/3 e~"]


def test_a_bar_line_in_a_run_begins_a_bar() -> None:
    assert music('run = "low A, B | C"', 'meter = "2/4"') == ["A B | c:2"]
    assert music('run = "low A, B | C"') == ["A B | c"]


@pytest.mark.parametrize(
    ("line", "place", "says"),
    [
        ('runs = { span = "tenth" }', "lines[1].runs.span", "no interval"),
        ('runs = { direction = "sideways" }', "lines[1].runs.direction", "no direction"),
        ("runs = { notes = 7 }", "lines[1].runs.notes", "from 3 to 6"),
        ('runs = { among = "low A, H" }', "lines[1].runs.among", "no note 'H'"),
        ("runs = { limit = 0 }", "lines[1].runs.limit", "out of range"),
        ("runs = { sapn = 'third' }", "lines[1].runs.sapn", "did you mean `span`"),
        ('runs = { among = "low A, B" }', "lines[1].runs", "no such run"),
        ('scale = { from = "F", to = "D" }', "lines[1].scale", "no room"),
        ('scale = { from = "A" }', "lines[1].scale.from", "low A or high A"),
        ('against = { note = "B", others = "B" }', "lines[1].against", "no other note"),
        ('against = { note = "B" }\nornament = "grip"\non = "last"', "lines[1]", "as on = 'B'"),
        (
            'against = { note = "B", others = "C" }\nornament = "grip"\non = "D"',
            "lines[1]",
            "name B or notes of the `others`",
        ),
        ("against = { }", "lines[1].against.note", "missing"),
        ('each = "B"', "lines[1]", "no ornament to put on each note"),
        ('run = "B"\nrhythm = "swing"', "lines[1].rhythm", "'dot-cut'"),
        ('run = "B"\nrhythm = "dot-cut"\nnotes-per-beat = 2', "lines[1]", "says itself"),
        ('run = "B"\nornament = "doubling"\non = "C"', "lines[1]", "none of the notes"),
        (
            'run = "B"\nornament = ["plain", "doubling"]\non = "C"',
            "lines[1]",
            "that are to carry the doubling",
        ),
        ('run = "B"\non = "last"', "lines[1]", "no ornament"),
        ('run = "B"\nplain = false', "lines[1]", "leave `plain` out"),
        ('run = "B"\nornament = ["plain", "grip"]\nwalk = true', "lines[1]", "plain pass first"),
        ('run = "B"\nornament = []', "lines[1].ornament", "1 to 16"),
        ('run = "B"\nscale = {}', "lines[1]", "run and scale"),
        ('runs = {}\nornament = "dubling"\nwalk = true', "lines[1].ornament", "doubling"),
        ('abc = "B2"\nrhythm = "dot-cut"', "lines[1]", "written out"),
    ],
)
def test_mistakes_in_patterns_are_named_with_their_place(line: str, place: str, says: str) -> None:
    message = mistake(line)
    assert message.startswith(f"{place}: ")
    assert says.casefold() in message.casefold()


def test_a_dotted_beat_is_not_divided_into_four() -> None:
    message = mistake('run = "B"\nnotes-per-beat = 4', 'meter = "6/8"')
    assert "write 1, 2, 3 or 6" in message.casefold()


def test_patterns_that_come_to_too_many_lines_are_refused() -> None:
    line = (
        'runs = { span = ["third", "fourth", "fifth", "sixth", "seventh", "octave", "ninth"], '
        'notes = 6, direction = ["both", "turning"], among = "low G to high A" }'
    )
    assert "more than 5000 lines" in mistake(line)
    limited = line.replace("notes = 6", "notes = 6, limit = 4999")
    assert len(realise(definition(f'{limited}\n[[lines]]\nrun = "B"')).lines) == 5000
    assert "lines[3]: the patterns come to more than 5000" in mistake(
        f'{limited}\n[[lines]]\nrun = "B"\n[[lines]]\nrun = "B"\n[[lines]]\nrun = "B"'
    )


def test_lines_are_ordered_by_numbers_that_there_are() -> None:
    two = 'run = "B"\n[[lines]]\nrun = "C"'
    assert realise(definition(two, "order = [2, 1, 2]")).order == (2, 1, 2)
    says = "order: there is no line 3; the exercise has 2. Write numbers from 1 to 2."
    assert mistake(two, "order = [1, 3]") == says


def test_a_slip_in_abc_is_found_at_its_bar() -> None:
    message = mistake('abc = "B2 | {x}B2"')
    assert message.startswith("lines[1].abc: bar 2, character ")


def test_a_movement_that_the_book_table_gets_wrong_is_reported_once_not_where_it_is_named() -> None:
    head = 'meter = "2/4"\n[ornament-book.shiver]\nfragments = { H = "{g}B" }'
    lines = 'run = "B"\nornament = "Shiver"\n[[lines]]\nruns = {}\nornament = "shiver"'
    assert "ornament-book.shiver" in mistake(lines, head)
    # An entry of ABC names no movement.
    with pytest.raises(RungwiseError) as caught:
        realise(definition('abc = "{x}B2"', head))
    places = [problem.place for problem in caught.value.problems]
    assert len(places) == 2
    assert str(places[1]).startswith("lines[1].abc")


def test_beside_wrong_keys_movements_are_looked_up_but_those_of_a_refused_book_and_plain() -> None:
    text = """
tempoo = 60
[[lines]]
run = "B, H"
ornament = ["Plain", "dubling"]
[[lines]]
run = "B, H"
ornament = "shiver"
[ornament-book.shiver]
fragments = { H = "{g}B" }
"""
    with pytest.raises(RungwiseError) as caught:
        read_exercise(Source("slips.toml", text.encode()))
    places = [str(problem.place) for problem in caught.value.problems]
    wrong = sorted(place for place in places if "ornament" in place)
    assert wrong == ["lines[1].ornament", "ornament-book.shiver.fragments.H"]


notes_text = st.lists(
    st.sampled_from(["low G", "low A", "B", "C", "D", "E", "F"]), min_size=3, unique=True
).map(", ".join)


@st.composite
def entries(draw: st.DrawFn) -> str:
    """Any pattern with any way of playing it that a definition may hold."""
    among = draw(notes_text)
    kind = draw(st.sampled_from(["runs", "scale", "against", "each", "run"]))
    ornament = draw(st.sampled_from(['"doubling"', '"strike"', '["grip", "doubling"]']))
    playing = [f"ornament = {ornament}"]
    if kind == "runs":
        spans = '["third", "fourth", "fifth", "sixth", "seventh"]'
        order = draw(st.sampled_from(["pitch", "difficulty"]))
        direction = draw(st.sampled_from(["rising", "both", "turning"]))
        pattern = (
            f'runs = {{ span = {spans}, direction = "{direction}", among = "{among}", '
            f'order = "{order}", limit = {draw(st.integers(1, 20))} }}'
        )
        if draw(st.booleans()):
            playing += ["walk = true", f"plain = {str(draw(st.booleans())).lower()}"]
    elif kind == "scale":
        step = draw(st.sampled_from(["second", "third", "fifth"]))
        pattern = f'scale = {{ step = "{step}", from = "low A", to = "F" }}'
    elif kind == "against":
        pattern = f'against = {{ note = "{draw(st.sampled_from(["low A", "E"]))}" }}'
        is_plain = draw(st.booleans())
        playing = [] if is_plain else ['ornament = ["plain", "grip"]']
        if not is_plain and draw(st.booleans()):
            playing.append(f'on = "{draw(st.sampled_from(["low A", "E", "B, D", "C to E"]))}"')
    elif kind == "each":
        pattern = f'each = "{among}"'
    else:
        pattern = f'run = "{among} | {among}"'
        playing += [f'on = "{draw(st.sampled_from(["first", "last", "every"]))}"']
    rhythm = draw(st.sampled_from(["even", "dot-cut", "cut-dot", "triplets"]))
    playing.append(f'rhythm = "{rhythm}"')
    if rhythm == "even":
        playing.append(f"notes-per-beat = {draw(st.integers(1, 3))}")
    if draw(st.booleans()):
        playing.append('inner = "87.5 ms"')
    return "\n".join([pattern, *playing])


HEADS = st.sampled_from(
    [
        "",
        'meter = "3/4"',
        'meter = "6/8"\ntempo = 61.5',
        'title = "T"\nornaments.inner = "1/3 beat"',
    ]
)


def _realised(line: str, head: str) -> tuple[Definition, Exercise] | None:
    try:
        read = definition(line, head)
        return read, realise(read)
    except RungwiseError as error:
        # A movement that some note lacks is the teacher's to put right.
        assert "there is no" in str(error)
        return None


@given(entries(), HEADS)
@examples(150)
def test_an_expanded_definition_reads_back_to_the_same_music(line: str, head: str) -> None:
    realised = _realised(line, head)
    if realised is None:
        return
    read, exercise = realised
    text = definition_text(expand_definition(read))
    again = parse_definition(text)
    assert realise(again) == replace(exercise, source="")
    assert definition_text(expand_definition(again)) == text


@given(entries(), HEADS)
@examples(100)
def test_every_bar_of_a_pattern_is_full(line: str, head: str) -> None:
    realised = _realised(line, head)
    if realised is None:
        return
    for one in realised[1].lines:
        for bar in one.bars:
            assert bar.beats == Fraction(bar.meter.beats)


# Control characters are left out of all that is written.
words = st.text(st.characters(codec="utf-8", exclude_categories=["Cc"]), max_size=40)


@given(words, words, words)
def test_whatever_a_teacher_writes_in_words_is_kept(title: str, purpose: str, heading: str) -> None:
    written = Definition(
        title=title.strip() or "Untitled",
        lines=(RunLine((Note.B,), heading=heading),),
        purpose=purpose,
    )
    assert parse_definition(definition_text(written)) == written


def test_a_long_heading_is_still_one_when_notes_are_added_to_it() -> None:
    for line in expanded(f'heading = "{"x" * 499}"\nruns = {{ limit = 2 }}'):
        assert parse_definition(definition_text(Definition("T", (line,)))).lines == (line,)


def test_a_definition_with_its_own_movements_and_settings_reads_back() -> None:
    text = """
title = "A \\"title\\" of [Larkmoor]"
for = "Evening class"
purpose = "Two\\nlines"
level = "improver"
meter = "2/4"
tempo = 66.5
[gracenotes]
length = "42.5 ms"
placement = "before the beat"
[ornaments]
inner = "1/3 beat"
impossible = "error"
[[lines]]
heading = "= tricky #"
runs = { span = "third", limit = 2 }
ornament = "my throw"
on = "D"
[[lines]]
abc = "{g}A4 | {gBd}B4"
[ladder]
tempos = [60, 80.5]
percent = true
repeats = 3
[ornament-book."my throw".fragments]
D = "{g}c d"
"""
    read = parse_definition(text.replace("limit = 2", 'limit = 2, end = "D", among = "low A to E"'))
    again = parse_definition(definition_text(expand_definition(read)))
    assert again == replace(expand_definition(read), source="")
    assert realise(again) == realise(read)
