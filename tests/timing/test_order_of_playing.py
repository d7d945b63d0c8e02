"""Repeats, endings, jumps and the order of parts, played out by hand and by the program.

The conventions are common practice.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from renderer.errors import RungwiseError
from renderer.notation.limits import MOST_BARS, MOST_QUARTERS
from renderer.notation.pitch import Note
from renderer.notation.score import Bar, Exercise, Line, MelodyNote, Meter, Rest, Slot
from renderer.notation.signs import JUMPS, Signs, ending_text, passes_of_ending, signs_of_words
from renderer.order.tracks import expand
from renderer.timing.fit import fastest_tempos
from renderer.timing.order_of_playing import PlayedBar, check_length, order_of_playing, played

ONE_BEAT = Meter(1, 4)


def bar(signs: Signs | None = None, note: Note = Note.LOW_A) -> Bar:
    return Bar((MelodyNote(Fraction(1), (Slot(note),)),), ONE_BEAT, signs=signs or Signs())


def tune(*lines: list[Signs], order: tuple[int, ...] = ()) -> Exercise:
    notes = iter(list(Note) * 100)
    parts = tuple(Line(tuple(bar(signs, next(notes)) for signs in line)) for line in lines)
    return Exercise("Tune", parts, order=order)


def played_bars(exercise: Exercise) -> str:
    """The bars as played, such as `1.1 1.2 | 2.1`: line and bar, a stroke between runs."""
    return " | ".join(
        " ".join(f"{place.line}.{place.bar}" for place in run) for run in order_of_playing(exercise)
    )


OPEN, PLAIN, CLOSE = Signs(opens=True), Signs(), Signs(closes=2)
FIRST, SECOND = Signs(endings=(1,), closes=2), Signs(endings=(2,))


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        ([[OPEN, CLOSE]], "1.1 1.2 1.1 1.2"),
        ([[PLAIN, CLOSE]], "1.1 1.2 1.1 1.2"),
        ([[PLAIN, OPEN, CLOSE, PLAIN]], "1.1 1.2 1.3 1.2 1.3 1.4"),
        ([[CLOSE, CLOSE]], "1.1 1.1 1.2 1.2"),
        ([[OPEN, FIRST, SECOND]], "1.1 1.2 1.1 1.3"),
        ([[OPEN, FIRST, PLAIN]], "1.1 1.2 1.1 1.3"),
        ([[PLAIN, Signs(double=True), PLAIN, CLOSE]], "1.1 1.2 1.3 1.4 1.3 1.4"),
        ([[OPEN, Signs(double=True), PLAIN, CLOSE]], "1.1 1.2 1.3 1.4 1.1 1.2 1.3 1.4"),
        ([[PLAIN], [PLAIN, CLOSE]], "1.1 | 2.1 2.2 2.1 2.2"),
        ([[OPEN], [CLOSE]], "1.1 | 2.1 | 1.1 | 2.1"),
        ([[Signs(opens=True, closes=4)]], "1.1 1.1 1.1 1.1"),
        ([[OPEN, Signs(endings=(1,), closes=3), SECOND]], "1.1 1.2 1.1 1.3"),
    ],
)
def test_a_repeat_goes_back_to_what_opens_it(lines: list[list[Signs]], expected: str) -> None:
    assert played_bars(tune(*lines)) == expected


def test_endings_are_played_in_the_passes_that_they_name() -> None:
    thrice = [OPEN, Signs(endings=(1, 3), closes=2), Signs(endings=(2,), closes=2), PLAIN]
    assert played_bars(tune(thrice)) == "1.1 1.2 1.1 1.3 1.1 1.2 1.4"


def test_da_capo_al_fine_plays_repeats_once_with_their_last_ending() -> None:
    first = [OPEN, FIRST, Signs(endings=(2,), fine=True)]
    second = [OPEN, Signs(closes=2, jump="D.C. al Fine")]
    assert played_bars(tune(first, second)) == "1.1 1.2 1.1 1.3 | 2.1 2.2 2.1 2.2 | 1.1 1.3"


def test_dal_segno_al_coda_leaves_for_the_coda_only_on_the_way_back() -> None:
    line = [
        PLAIN,
        Signs(segno=True),
        Signs(to_coda=True),
        Signs(jump="D.S. al Coda"),
        Signs(coda=True, opens=True),
        CLOSE,
    ]
    assert played_bars(tune(line)) == "1.1 1.2 1.3 1.4 1.2 1.3 1.5 1.6 1.5 1.6"


def test_dal_segno_without_one_before_it_goes_to_the_first_there_is_else_to_the_beginning() -> None:
    back = Signs(jump="D.S.")
    assert played_bars(tune([PLAIN, back])) == "1.1 1.2 1.1 1.2"
    assert played_bars(tune([PLAIN, back, Signs(segno=True), PLAIN])) == "1.1 1.2 1.3 1.4"
    two = [Signs(segno=True), Signs(segno=True), back]
    assert played_bars(tune(two)) == "1.1 1.2 1.3 1.2 1.3"


def test_each_bar_tells_how_often_it_has_come_by_then() -> None:
    plain = played(tune([PLAIN, PLAIN], [PLAIN]))
    assert plain.lines == ((PlayedBar(1, 1, 1), PlayedBar(1, 2, 1)), (PlayedBar(2, 1, 1),))
    (run,) = order_of_playing(tune([OPEN, Signs(closes=3)]))
    assert [(place.bar, place.turn) for place in run] == [
        (1, 1), (2, 1), (1, 2), (2, 2), (1, 3), (2, 3),
    ]  # fmt: skip


def test_lines_and_bars_keep_the_numbers_that_they_have_as_written() -> None:
    order = played(tune([PLAIN, PLAIN], [PLAIN, CLOSE], order=(2, 1, 2)))
    assert [order.line_number(line) for line in (1, 2, 3)] == [2, 1, 2]
    assert order.exercise.numbers == (2, 1, 2)
    bars = [[bar.number for bar in line.bars] for line in order.exercise.lines]
    assert bars == [["1", "2", "1", "2"], ["1", "2"], ["1", "2", "1", "2"]]


def test_a_jump_is_taken_once_however_often_its_bar_comes() -> None:
    line = [Signs(coda=True), Signs(to_coda=True), Signs(jump="D.C. al Coda")]
    assert played_bars(tune(line)) == "1.1 1.2 1.3 1.1 1.2 1.3"
    for jump in JUMPS:
        everywhere = [Signs(segno=True, coda=True, to_coda=True, fine=True, jump=jump)]
        assert len(order_of_playing(tune(everywhere * 50))[0]) <= 51 * 50
        with pytest.raises(RungwiseError, match="100 jumps"):
            order_of_playing(tune(everywhere * 500))


def test_the_order_of_parts_is_followed_and_no_repeat_goes_back_beyond_its_part() -> None:
    exercise = tune([PLAIN, CLOSE], [PLAIN], order=(1, 2, 1))
    assert played_bars(exercise) == "1.1 1.2 1.1 1.2 | 2.1 | 1.1 1.2 1.1 1.2"


def test_played_once_every_part_comes_once_with_its_last_ending() -> None:
    first = [OPEN, FIRST, Signs(endings=(2,), fine=True)]
    second = [OPEN, Signs(closes=3, jump="D.C. al Fine")]
    exercise = replace(tune(first, second, order=(1, 2, 1)), played_once=True)
    assert played_bars(exercise) == "1.1 1.3 | 2.1 2.2"


def test_notes_are_named_alike_however_often_they_are_played() -> None:
    first = [OPEN, FIRST, SECOND]
    exercise = tune(first, [PLAIN])
    events = [event for event in expand(exercise, count_in=0) if event.note is not None]
    assert [(event.note_id, event.turn) for event in events] == [
        ("L1-B1-N1-S1", 1),
        ("L1-B2-N1-S1", 1),
        ("L1-B1-N1-S1", 2),
        ("L1-B3-N1-S1", 1),
        ("L2-B1-N1-S1", 1),
    ]
    once = list(expand(replace(exercise, played_once=True), count_in=0))
    assert {event.note_id for event in once} <= {event.note_id for event in events} | {""}


def test_each_time_that_a_note_is_played_has_a_turn_of_its_own() -> None:
    exercise = tune([OPEN, FIRST, SECOND], [Signs(jump="D.C.")])
    names = [
        (event.note_id, event.turn)
        for event in expand(exercise, repeats=3, count_in=0)
        if event.note is not None
    ]
    assert len(set(names)) == len(names)
    assert max(turn for name, turn in names if name == "L1-B1-N1-S1") == 3 * 3


def test_going_back_goes_back_to_the_tempo_that_stands_there() -> None:
    line = tune([PLAIN, CLOSE]).lines[0]
    faster = replace(line.bars[1], tempo=Fraction(120))
    exercise = Exercise("Tune", (replace(line, bars=(line.bars[0], faster)),))
    lengths = [event.length for event in expand(exercise, 60, count_in=0)]
    assert lengths == [1, Fraction(1, 2), 1, Fraction(1, 2)]


def test_a_tie_does_not_lead_back_to_another_note() -> None:
    tied = Bar((MelodyNote(Fraction(1), (Slot(Note.E),), tied=True),), ONE_BEAT)
    bars = (bar(OPEN, Note.E), replace(tied, signs=CLOSE), bar(note=Note.B))
    line = Line((bars[0], bars[1], replace(tied, signs=CLOSE, items=tied.items), bars[2]))
    music = played(Exercise("Tune", (line,))).exercise.lines[0].bars
    ties = [first.tied for each in music if isinstance(first := each.items[0], MelodyNote)]
    assert ties == [False, True, False, True, True, True, False]


def test_a_tie_into_a_repeated_part_is_kept_only_from_the_same_note_and_rests_have_none() -> None:
    e, b = MelodyNote(Fraction(1), (Slot(Note.E),)), MelodyNote(Fraction(1), (Slot(Note.B),))
    rest, two = Rest(Fraction(1)), Meter(2, 4)
    tied = replace(e, tied=True)

    def ties(*bars: tuple[tuple[MelodyNote | Rest, ...], Signs]) -> str:
        line = Line(tuple(Bar(items, two, signs=signs) for items, signs in bars))
        music = played(Exercise("Tune", (line,))).exercise.lines[0].bars
        return " ".join("~" if getattr(bar.items[0], "tied", False) else "." for bar in music)

    assert ties(((b, e), PLAIN), ((tied, b), OPEN), ((b, b), CLOSE)) == ". ~ . . ."
    assert ties(((b, e), PLAIN), ((tied, b), OPEN), ((b, e), CLOSE)) == ". ~ . ~ ."
    assert ties(((b, e), PLAIN), ((tied, b), OPEN), ((e, rest), CLOSE)) == ". ~ . . ."
    assert ties(((rest, b), OPEN), ((rest, e), CLOSE)) == ". . . ."


def test_what_lasts_too_long_with_its_repeats_is_refused_by_quarter_notes() -> None:
    # A bar of 4/2 lasts 8 quarter notes: few notes, but half a day of them.
    long = MelodyNote(Fraction(4), (Slot(Note.E),))
    of_8 = Exercise("Slow", (Line((Bar((long,), Meter(4, 2), signs=Signs(closes=99)),) * 150),))
    assert MOST_QUARTERS < 150 * 99 * 8
    with pytest.raises(RungwiseError, match="lasts 118800 quarter notes"):
        check_length(of_8)
    check_length(replace(of_8, played_once=True))


def test_a_line_is_practised_with_its_own_repeats_and_without_the_way_to_others() -> None:
    exercise = tune([OPEN, FIRST, SECOND], [Signs(jump="D.C.")], order=(1, 2, 1))
    assert len(fastest_tempos(exercise)) == 2


def test_repeats_that_never_end_are_refused() -> None:
    endless = tune([Signs(opens=True, closes=99, endings=tuple(range(1, 100)))] * 100)
    long = tune(*[[Signs(closes=99)] * 100] * 3)
    assert len(order_of_playing(endless)[0]) <= MOST_BARS
    with pytest.raises(RungwiseError, match="--no-repeats"):
        order_of_playing(long)


@pytest.mark.parametrize(
    ("words", "signs"),
    [
        ("D.C. al Fine", Signs(jump="D.C. al Fine")),
        ("Da Capo", Signs(jump="D.C.")),
        ("D. S. al Coda", Signs(jump="D.S. al Coda")),
        ("Dal Segno al Fine", Signs(jump="D.S. al Fine")),
        ("DC", Signs(jump="D.C.")),
        ("Fine", Signs(fine=True)),
        ("To Coda", Signs(to_coda=True)),
        ("Coda", Signs(coda=True)),
        ("Segno", Signs(segno=True)),
        ("Slowly", Signs()),
        ("Finely played", Signs()),
        ("Dance", Signs()),
    ],
)
def test_words_over_a_bar_say_where_to_go(words: str, signs: Signs) -> None:
    assert signs_of_words(words) == signs


def test_endings_are_written_as_they_are_read() -> None:
    for passes in ((1,), (1, 2), (1, 2, 3), (1, 3), (1, 2, 3, 5, 7, 8, 9), tuple(range(1, 100))):
        assert passes_of_ending(ending_text(passes)) == passes
