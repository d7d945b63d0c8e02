"""Reading ABC: fragments as a definition has them, and whole tunes.

Check values of lengths, tuplets and broken rhythm are from the ABC music standard 2.1, section 4.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from renderer.errors import RungwiseError
from renderer.notation.abc.as_typed import with_whole_bar_lines
from renderer.notation.abc.information_fields import read_key, read_text
from renderer.notation.abc.reader import read_abc, read_abc_line
from renderer.notation.abc.writer import write_abc
from renderer.notation.limits import LONGEST_TITLE
from renderer.notation.pitch import Note
from renderer.notation.score import Bar, Exercise, Line, MelodyNote, Meter, Rest, bar_offsets
from renderer.notation.signs import Signs
from renderer.notation.source_file import Source
from renderer.notation.written import Reading
from tests.notation.playing_out import played_bars, played_lines

FOUR, THREE, SIX = Meter(4, 4), Meter(3, 4), Meter(6, 8)


def _beats(bars: tuple[Bar, ...]) -> list[list[Fraction]]:
    return [[item.beats for item in bar.items] for bar in bars]


def _notes(bars: tuple[Bar, ...]) -> str:
    return " | ".join(
        " ".join(
            "".join(slot.abc for slot in item.slots) if isinstance(item, MelodyNote) else "z"
            for item in bar.items
        )
        for bar in bars
    )


def _fractions(text: str) -> list[Fraction]:
    return [Fraction(part) for part in text.split()]


def _errors(text: str, meter: Meter | None = None) -> list[str]:
    with pytest.raises(RungwiseError) as caught:
        read_abc_line(text, meter)
    return [str(problem) for problem in caught.value.problems]


def _read(tmp_path: Path, text: str, reading: Reading | None = None) -> Exercise:
    path = tmp_path / "tune.abc"
    path.write_text(text, encoding="utf-8")
    return read_abc(path) if reading is None else read_abc(path, reading)


def test_gracenotes_and_doublings_of_a_definition_are_read_as_slots() -> None:
    bars = read_abc_line("{g}A2 {d}A2 | {gBd}B4", THREE)
    assert _notes(bars) == "{g}A {d}A | {g}B{d}B"
    assert _beats(bars) == [[1, 1], [2]]


@pytest.mark.parametrize(
    ("meter", "beats"),
    [(Meter(2, 4), "1/4"), (THREE, "1/2"), (SIX, "1/3"), (None, "1/2")],
)
def test_the_unit_length_is_a_sixteenth_below_three_four_and_else_an_eighth(
    meter: Meter | None, beats: str
) -> None:
    """ABC 2.1, section 3.1.7."""
    bars = read_abc_line("A", meter)
    assert _beats(bars) == [[Fraction(beats)]]


@pytest.mark.parametrize(
    ("code", "beats"),
    [
        ("A2 A A/ A// A/4 A3/2", "1 1/2 1/4 1/8 1/8 3/4"),
        ("A>B c<d", "3/4 1/4 1/4 3/4"),
        ("A>>B c<<<d", "7/8 1/8 1/16 15/16"),
        ("(3ABc (2de", "1/3 1/3 1/3 3/4 3/4"),
        ("(5:4:3ABc d", "2/5 2/5 2/5 1/2"),
        ("(3A2Bc/", "2/3 1/3 1/6"),
        ("(2AB c", "3/4 3/4 1/2"),
        ("(4ABcd e", "3/8 3/8 3/8 3/8 1/2"),
        ("(6ABcdef g", "1/6 1/6 1/6 1/6 1/6 1/6 1/2"),
        ("(8ABcdefga A", "3/16 3/16 3/16 3/16 3/16 3/16 3/16 3/16 1/2"),
        ("[A2]3 [BB] c", "3 1/2 1/2"),
        ("A>{g}B A- A", "3/4 1/4 1"),
    ],
)
def test_lengths_are_those_of_the_abc_standard(code: str, beats: str) -> None:
    bars = read_abc_line(code, None)
    assert [length for bar in _beats(bars) for length in bar] == _fractions(beats)


def test_a_tuplet_of_five_takes_three_units_in_compound_meters_and_two_in_simple_ones() -> None:
    """ABC 2.1, section 4.13: (5 puts 5 notes into the time of n, 3 if compound, otherwise 2."""
    (simple,) = read_abc_line("(5ABABA A2 A4", FOUR)
    (compound,) = read_abc_line("(5ABABA A3", SIX)
    assert simple.items[0].beats * 5 == 1
    assert compound.items[0].beats * 5 == 1


def test_repeats_and_endings_are_played_out() -> None:
    bars = read_abc_line("|: A4 B4 |1 c8 :|2 d8 |] e8 |", FOUR)
    assert _notes(bars) == "A B | c | d | e"
    assert _notes(played_bars(bars)) == "A B | c | A B | d | e"


def test_a_repeat_without_a_beginning_goes_back_to_the_last_double_bar() -> None:
    bars = read_abc_line("A8 || B8 :| c8 :|", FOUR)
    assert _notes(played_bars(bars)) == "A | B | B | c | c"


def test_a_double_bar_inside_a_repeat_does_not_move_its_beginning() -> None:
    bars = read_abc_line("|: A8 || B8 :|", FOUR)
    assert _notes(played_bars(bars)) == "A | B | A | B"


def test_a_tie_over_the_bar_line_is_kept_and_inside_the_bar_it_makes_one_note() -> None:
    first, second = read_abc_line("A4- A2 B2- | B8", FOUR)
    assert [item.beats for item in first.items] == [3, 1]
    (held,) = second.items
    assert isinstance(held, MelodyNote)
    assert held.tied


def test_a_tie_to_another_pitch_is_a_slur_and_ties_nothing() -> None:
    _, second = read_abc_line("A8- | B8", FOUR)
    assert isinstance(second.items[0], MelodyNote)
    assert not second.items[0].tied


def test_notes_off_the_chanter_are_named_all_at_once_with_bar_and_beat() -> None:
    errors = _errors("A2 ^g2 C2 | =c2 A4", THREE)
    assert [error.split(" is")[0] for error in errors] == [
        "bar 1, beat 2: ^g",
        "bar 1, beat 3: C",
        "bar 2, beat 1: =c",
    ]
    assert "G A B c d e f g a" in errors[-1]


def test_c_and_f_may_be_written_with_the_sharps_that_they_sound() -> None:
    assert _notes(read_abc_line("^c2 ^f2 c2 f2", FOUR)) == "c f c f"


def test_a_bar_that_does_not_add_up_says_what_it_holds_and_what_is_needed() -> None:
    (error,) = _errors("A2 B2 c2 | A2 B2 c3", THREE)
    assert error.startswith("bar 2: the bar holds 7/8 and 3/4 asks for 6/8")


def test_what_a_bar_lacks_or_has_too_much_is_said_in_its_beats() -> None:
    """A beat of 6/8 is three quavers, one of 3/4 two."""
    wanted = {
        "A6 | A4 | A6": "It is 2/8, 2/3 beat, too little",
        "A6 | A11 | A6": "It is 5/8, 1 2/3 beats, too much",
    }
    for code, says in wanted.items():
        (error,) = _errors(code, SIX)
        assert says in error


def test_rests_of_whole_bars_fill_as_many_bars() -> None:
    """ABC 2.1, section 4.5."""
    assert _beats(read_abc_line("A6 | Z2 | A6", THREE)) == [[3], [3], [3], [3]]
    assert _beats(read_abc_line("A12 | Z | A12", Meter(12, 8))) == [[4], [4], [4]]
    assert len(read_abc_line("Z999", THREE)) == 999
    for code in ("A6 | Z0", "A6 | Z1000"):
        (error,) = _errors(code, THREE)
        assert "1 to 999 bars" in error
    (error,) = _errors("Z2")
    assert "need a meter" in error


@pytest.mark.parametrize(
    ("key", "fifths"),
    [
        ("F", -1), ("C", 0), ("G", 1), ("D", 2), ("A", 3), ("E", 4), ("B", 5), ("F#", 6),
        ("C#", 7), ("Bb", -2), ("Eb", -3), ("Cb", -7), ("Am", 0), ("D dorian", 0), ("G lyd", 2),
        ("Amix", 2), ("Aaeo", 0), ("Ephr", 0), ("B locrian", 0), ("C ionian", 0), ("Gmaj", 1),
        ("Bmin", 2),
    ],
)  # fmt: skip
def test_a_key_raises_or_lowers_as_many_notes_as_its_signature_has(key: str, fifths: int) -> None:
    """ABC 2.1, section 3.1.14; the signatures in the order of the sharps F C G D A E B."""
    sharps = "FCGDAEB"
    raised = dict.fromkeys(sharps[:fifths] if fifths > 0 else "", 1)
    lowered = dict.fromkeys(sharps[::-1][:-fifths] if fifths < 0 else "", -1)
    assert read_key(key).alters == raised | lowered


def test_text_strings_hold_escapes_and_accents() -> None:
    """ABC 2.1, section 8.2."""
    assert read_text(r"Caf\'e \u0161 \"u &eacute;") == "Caf\u00e9 \u0161 \u00fc \u00e9"
    # Halves of pairs of UTF-16 are no characters of their own.
    assert read_text(r"[\uD7FF\uD800\uDFFF\uE000]") == "[\ud7ff\ue000]"


def test_a_pickup_may_be_short_and_so_may_the_bar_that_completes_it() -> None:
    assert _beats(read_abc_line("A2 | B6 | c4", THREE)) == [[1], [3], [2]]
    assert "bar 2" in _errors("B6 | c4 | B6", THREE)[0]


@pytest.mark.parametrize(
    ("code", "place", "words"),
    [
        ("A2 [ceg]2", "bar 1, character 4", "one note at a time"),
        ("A2 | B2 {gB", "bar 2, character 9", "the brace that opens here is not closed"),
        ("A2 {gB | c2 {d}c2", "bar 1, character 4", "the brace that opens here is not closed"),
        ("A2 {gB c2 {d}c2", "bar 1, character 4", "the brace that opens here is not closed"),
        ("A2 {g}", "bar 1, character 4", "lead to no note"),
        ("A2 ?", "bar 1, character 4", "means nothing here"),
        ("A2 & B2", "bar 1, character 4", "one voice"),
        ("> A2", "bar 1, character 1", "between two notes"),
        ("A2 |0 B2", "bar 2", "no ending 0"),
        ("A2 [0 B2", "bar 1", "no ending 0"),
        ("A99999", "bar 1, character 1", "out of range"),
        ("A0", "bar 1, character 1", "no length"),
    ],
)
def test_what_cannot_be_read_is_named_by_bar_and_character(
    code: str, place: str, words: str
) -> None:
    (error,) = _errors(code)
    assert error.startswith(place)
    assert words in error


def test_a_field_may_lead_a_fragment_or_stand_in_it() -> None:
    assert _beats(read_abc_line("L:1/4 A B", None)) == [[1, 1]]
    first, second = read_abc_line("[L:1/4] A B | [M:6/8][L:1/8] A3 B3 |", Meter(2, 4))
    assert (first.meter, second.meter) == (Meter(2, 4), SIX)


TUNE = """%abc-2.1
X:1
T:March of the Larkmoor Juveniles % not yet finished
M:2/4
L:1/8
Q:1/4=80
K:HP
"^Part one"{g}A | {gBd}B2 {g}c>d | e3 A || % a comment
"^Part two"|: {ag}a2 f2 | {gef}e3 z :|
w: la la la

X:7
T:Caf\\'e at Larkmoor
M:6/8
K:D
fec | ABc d3 |]
"""


def test_a_tune_has_its_title_tempo_parts_and_repeats(tmp_path: Path) -> None:
    exercise = _read(tmp_path, TUNE)
    assert exercise.title == "March of the Larkmoor Juveniles"
    assert exercise.tempo == 80
    assert [line.heading for line in exercise.lines] == ["Part one", "Part two"]
    assert [len(line.bars) for line in exercise.lines] == [3, 2]
    assert [len(line.bars) for line in played_lines(exercise)] == [3, 4]
    assert exercise.lines[1].bars[1].items[-1] == Rest(Fraction(1, 2))
    assert "Lyrics are left out." in exercise.remarks
    assert any("2 tunes" in remark for remark in exercise.remarks)


def test_a_tune_is_chosen_by_its_number_or_title(tmp_path: Path) -> None:
    for name in ("7", "Café at Larkmoor"):
        exercise = _read(tmp_path, TUNE, Reading(part=name))
        assert exercise.title == "Café at Larkmoor"
        assert _notes(exercise.lines[0].bars) == "f e c | A B c d"
    with pytest.raises(RungwiseError, match=r"no tune '9'.*1 \(March"):
        _read(tmp_path, TUNE, Reading(part="9"))


def test_errors_in_a_tune_name_its_line(tmp_path: Path) -> None:
    with pytest.raises(RungwiseError, match=r"tune\.abc: line 4, bar 1, character 4: '='"):
        _read(tmp_path, "X:1\nT:x\nK:HP\nA2 =|\n")


def test_both_names_of_the_pipe_key_give_the_chanters_notes(tmp_path: Path) -> None:
    """ABC 2.1, section 3.1.14: K:HP and K:Hp."""
    for key in ("HP", "Hp"):
        exercise = _read(tmp_path, f"X:1\nT:x\nM:4/4\nL:1/4\nK:{key}\nc f G g |\n")
        notes = [note.note for note in exercise.lines[0].melody_notes]
        assert notes == [Note.C, Note.F, Note.LOW_G, Note.HIGH_G]
        assert not any("no key signature" in remark for remark in exercise.remarks)


def test_a_key_signature_of_two_sharps_gives_the_same_notes_as_none(tmp_path: Path) -> None:
    for key, said in (("D", False), ("Amix", False), ("none", True), ("C", True)):
        exercise = _read(tmp_path, f"X:1\nT:x\nM:4/4\nL:1/4\nK:{key}\nc f A g |\n")
        notes = [note.note for note in exercise.lines[0].melody_notes]
        assert notes == [Note.C, Note.F, Note.LOW_A, Note.HIGH_G]
        assert any("no key signature" in remark for remark in exercise.remarks) is said


def test_a_natural_c_beside_a_sharp_f_is_off_the_chanter(tmp_path: Path) -> None:
    with pytest.raises(RungwiseError, match=r"c \(C natural\) is not on the chanter"):
        _read(tmp_path, "X:1\nT:x\nM:4/4\nL:1/4\nK:G\nc f A g |\n")


def test_auto_transposition_is_said_aloud(tmp_path: Path) -> None:
    tune = "X:1\nT:x\nM:4/4\nL:1/4\nK:Eb\nE F G B |\n"
    with pytest.raises(RungwiseError, match="--transpose"):
        _read(tmp_path, tune)
    exercise = _read(tmp_path, tune, Reading(transpose="auto"))
    assert any(remark.startswith("Transposed") for remark in exercise.remarks)


def test_bars_of_a_collected_tune_that_do_not_add_up_are_played_and_named(tmp_path: Path) -> None:
    exercise = _read(tmp_path, "X:1\nT:x\nM:4/4\nL:1/4\nK:HP\nA B c d|A B c|A B c d|\n")
    assert [bar.beats for bar in exercise.lines[0].bars] == [4, 3, 4]
    assert any("bar 2" in remark for remark in exercise.remarks)


def test_rests_are_kept_or_the_note_before_is_held(tmp_path: Path) -> None:
    tune = "X:1\nT:x\nM:4/4\nL:1/4\nK:HP\nz A z B|z4|\n"
    kept = _read(tmp_path, tune)
    assert _notes(kept.lines[0].bars) == "z A z B | z"
    held = _read(tmp_path, tune, Reading(rests="hold"))
    assert _beats(held.lines[0].bars) == [[1, 2, 1], [4]]
    assert _notes(held.lines[0].bars) == "z A B | B"
    assert any("stays a rest" in remark for remark in held.remarks)


def test_repeats_can_be_left_unplayed(tmp_path: Path) -> None:
    tune = "X:1\nT:x\nM:4/4\nL:1/4\nK:HP\n|:A4|1 B4:|2 c4|]\n"
    assert _played(tmp_path, tune) == "A | B | A | c"
    assert _played_once(tmp_path, tune) == "A | c"
    assert _notes(_read(tmp_path, tune).lines[0].bars) == "A | B | c"


def test_a_tempo_mark_inside_a_tune_stays_with_its_bar(tmp_path: Path) -> None:
    exercise = _read(tmp_path, "X:1\nT:x\nM:2/4\nL:1/4\nQ:1/4=60\nK:HP\nA B|[Q:1/4=90]c d|e f|\n")
    assert exercise.tempo == 60
    assert [bar.tempo for bar in exercise.lines[0].bars] == [None, 90, None]


def test_a_quarter_keeps_its_length_where_the_meter_changes_its_beat(tmp_path: Path) -> None:
    exercise = _read(
        tmp_path, "X:1\nT:x\nM:2/4\nL:1/8\nQ:1/4=90\nK:HP\nA2 B2|[M:6/8]ABc def|[M:2/4]e2 f2|\n"
    )
    # 90 quarters a minute are 60 dotted quarters.
    assert [bar.tempo for bar in exercise.lines[0].bars] == [None, 60, 90]


@pytest.mark.parametrize("title", [": || :", "|: Repeats :|", ":"])
def test_a_title_may_begin_with_the_signs_of_repeats(tmp_path: Path, title: str) -> None:
    exercise = Exercise(title, (Line(read_abc_line("A8", FOUR)),))
    assert _read(tmp_path, write_abc(exercise).decode()).title == title


HEADER = "X:1\nT:x\nM:4/4\nL:1/4\nQ:1/4=60\nK:HP\n"


def _played(tmp_path: Path, text: str, reading: Reading | None = None) -> str:
    exercise = _read(tmp_path, text, reading)
    return " // ".join(_notes(line.bars) for line in played_lines(exercise))


def _played_once(tmp_path: Path, text: str) -> str:
    exercise = replace(_read(tmp_path, text), played_once=True)
    return " // ".join(_notes(line.bars) for line in played_lines(exercise))


def _remarks(tmp_path: Path, text: str) -> str:
    return " ".join(_read(tmp_path, text).remarks)


@pytest.mark.parametrize(
    ("order", "played"),
    [
        ("ABA", "A // B // A"),
        ("A2.B", "A | A // B"),
        ("((A)2B)2", "A | A // B // A | A // B"),
        ("First part", "A // B"),
    ],
)
def test_named_parts_are_played_in_the_order_of_the_header(
    tmp_path: Path, order: str, played: str
) -> None:
    """ABC 2.1, section 3.1.9."""
    tune = f"X:1\nT:x\nM:4/4\nL:1/4\nP:{order}\nK:HP\nP:A\nA4|]\nP:B\nB4|]\n"
    assert _played(tmp_path, tune) == played
    assert _played_once(tmp_path, tune) == "A // B"


def test_a_repeat_inside_a_named_part_stays_in_its_part(tmp_path: Path) -> None:
    tune = "X:1\nT:x\nM:4/4\nL:1/4\nP:AB\nK:HP\nP:A\nA4|\nP:B\nB4:|\n"
    assert _played(tmp_path, tune) == "A // B | B"


def test_bars_before_the_first_named_part_are_played_with_and_without_an_order(
    tmp_path: Path,
) -> None:
    music = "d4|\nP:A\nA4|]\nP:B\nB4|]\n"
    assert _played(tmp_path, HEADER + music) == "d // A // B"
    assert _played(tmp_path, HEADER.replace("K:", "P:BA\nK:") + music) == "d // B // A"


def test_an_order_of_parts_that_the_tune_lacks_is_said(tmp_path: Path) -> None:
    tune = "X:1\nT:x\nM:4/4\nL:1/4\nP:AC\nK:HP\nP:A\nA4|\nP:B\nB4|]\n"
    assert _played(tmp_path, tune) == "A // B"
    assert "names C, which the tune has not marked" in _remarks(tmp_path, tune)


@pytest.mark.parametrize(
    ("field", "quarters"),
    [
        ("1/4=120", 120),
        ('"Slow march" 3/8=40', 60),
        ("1/4 3/8 1/4 3/8=40", 200),
        ("90", 90),
        ("C3=30", 90),
        ("1/4=80-90", 80),
        ("1/4 = c. 72", 72),
        ('"Slowly"', 60),
    ],
)
def test_tempo_fields_are_read_in_all_their_forms(
    tmp_path: Path, field: str, quarters: int
) -> None:
    """ABC 2.1, section 3.1.8 and its outdated forms; without a number 60 is taken."""
    exercise = _read(tmp_path, f"X:1\nT:x\nM:4/4\nL:1/4\nQ:{field}\nK:HP\nA4|]\n")
    assert exercise.tempo == quarters
    assert any("range" in remark for remark in exercise.remarks) is ("-" in field)


def test_words_of_a_tempo_stand_over_its_bar(tmp_path: Path) -> None:
    header = 'X:1\nT:x\nM:4/4\nL:1/4\nQ:"Slow" 1/4=60 "and even"\nK:HP\n'
    music = 'ABcd|[Q:"Faster" 1/4=80]efga|[Q:"Solemnly"]ABcd|[Q:1/4=60]ABcd|]\n'
    (line,) = _read(tmp_path, header + music).lines
    assert [bar.words for bar in line.bars] == [("Slow and even",), ("Faster",), ("Solemnly",), ()]
    assert [bar.tempo for bar in line.bars] == [None, 80, None, 60]
    assert "has many already" in _remarks(tmp_path, header + '"^w"' * 9 + "ABcd|]\n")


def test_a_tempo_mark_inside_a_bar_parts_it(tmp_path: Path) -> None:
    exercise = _read(
        tmp_path, HEADER + "A4|B2 [Q:1/4=90]c2|[Q:1/4=90]d2[Q:1/4=90]B2|A>[Q:1/4=50]B c2|]\n"
    )
    bars = exercise.lines[0].bars
    assert [bar.tempo for bar in bars] == [None, None, 90, None, None, 50]
    assert [bar.beats for bar in bars] == [4, 2, 2, 4, Fraction(3, 2), Fraction(5, 2)]
    assert {bar.meter for bar in bars} == {FOUR}
    assert bar_offsets(bars) == [0, 0, 2, 0, 0, Fraction(3, 2)]
    assert exercise.remarks == ()


def test_of_two_tempo_marks_behind_a_bar_the_last_holds(tmp_path: Path) -> None:
    exercise = _read(tmp_path, HEADER + "A4[Q:1/4=90][Q:1/4=50]|B4|[Q:1/4=60][Q:1/4=70]c4|]\n")
    assert [bar.tempo for bar in exercise.lines[0].bars] == [None, 50, 70]


def test_a_tempo_mark_inside_a_repeated_bar_is_played_again(tmp_path: Path) -> None:
    exercise = _read(tmp_path, HEADER + "|:[Q:1/4=70]A2[Q:1/4=90]B2:|c4|]\n")
    (line,) = played_lines(exercise)
    assert [bar.tempo for bar in line.bars] == [None, 90, 70, 90, None]


def test_a_definition_may_change_the_tempo_anywhere() -> None:
    assert read_abc_line("A8 | [Q:1/4=90] B8 |", FOUR)[1].tempo == 90
    assert read_abc_line("A8 [Q:1/4=90] | B8 |", FOUR)[1].tempo == 90
    assert read_abc_line("A4 [Q:1/4=90] B4 |", FOUR)[1].tempo == 90
    (error,) = _errors("A8 | A4 [Q:1/4=90] B2 | A8 |", FOUR)
    assert error.startswith("bar 2: the bar holds")


def test_a_meter_that_stands_before_the_bar_line_holds_after_it(tmp_path: Path) -> None:
    exercise = _read(tmp_path, HEADER + "A B c d [M:2/4]|A B|]\n")
    assert [bar.meter for bar in exercise.lines[0].bars] == [FOUR, Meter(2, 4)]
    assert exercise.remarks == ()


@pytest.mark.parametrize(
    "key", ["HP", "Hp", "hp", "HP treble", "Hp clef=treble-8", 'HP clef=treble name="Pipes"']
)
def test_the_pipe_key_may_name_a_clef(tmp_path: Path, key: str) -> None:
    """ABC 2.1, section 4.6."""
    assert _played(tmp_path, f"X:1\nT:x\nM:4/4\nL:1/4\nK:{key}\nc f g a|]\n") == "c f g a"


def test_an_accidental_holds_to_the_end_of_the_bar_in_every_octave(tmp_path: Path) -> None:
    """ABC 2.1, section 11.3: the default of propagate-accidentals is pitch."""
    with pytest.raises(RungwiseError) as caught:
        _read(tmp_path, "X:1\nT:x\nM:4/4\nL:1/4\nK:A\n=G A g a|g4|]\n")
    (problem,) = caught.value.problems
    assert problem.place == "line 6, bar 2, beat 1"
    assert problem.cause == "g (G sharp) is not on the chanter"


@pytest.mark.parametrize(
    "code",
    [
        "A B c d|$e4|\n",
        "A B c d|! e4|! \n",
        "A *B ;c @d|e4|\n",
        "%%begintext\nplay: A, then B | slowly\n%%endtext\nA B c d|e4|\n",
        "A B c d|\\\n%%newpage\n% a remark\ne4|\n",
        "[V:1]A B c d|[V:2]C C C C|[V:1]e4|[V:2]C4|\n",
        "V:1\nA B c d|e4|\nV:2\nC C C C|\nC4|\n",
    ],
)
def test_what_is_for_the_page_or_for_other_voices_costs_no_note(tmp_path: Path, code: str) -> None:
    """ABC 2.1, sections 2.2.3, 6.1.1, 7 and 8.1."""
    assert _played(tmp_path, HEADER + code) == "A B c d | e"


def test_gracenotes_may_be_slurred_tied_or_broken_in_rhythm() -> None:
    bars = read_abc_line("{(gd)}A2 {g-}c2 {g>d}B2 {/e}d2", FOUR)
    assert [[n.abc for n in i.group] for i in bars[0].items if isinstance(i, MelodyNote)] == [
        ["g", "d"], ["g"], ["g", "d"], ["e"],
    ]  # fmt: skip


def test_a_tie_may_be_written_again_at_the_start_of_a_second_ending(tmp_path: Path) -> None:
    bars = _read(tmp_path, HEADER + "|:A2 B2-|1 B4:|2 -B4|]\n").lines[0].bars
    held = [bars[1].items[0], bars[2].items[0]]
    assert all(isinstance(item, MelodyNote) and item.tied for item in held)


def test_music_after_an_empty_line_is_named_and_not_passed_over(tmp_path: Path) -> None:
    said = _remarks(tmp_path, HEADER + "A4|]\n\nB4|]\nc4|]\n\nNotes for the class | all of it.\n")
    assert said == "Lines 9 to 10 are not read: the empty line before ends the tune."


def test_fields_after_a_tune_are_no_header_for_the_next(tmp_path: Path) -> None:
    file = HEADER + "A4|]\n\nM:6/8\nL:1/8\n\nX:2\nT:y\nM:4/4\nL:1/4\nK:HP\nB4|]\n"
    (bar,) = _read(tmp_path, file, Reading(part="2")).lines[0].bars
    assert (bar.meter, bar.beats) == (FOUR, 4)


def test_a_header_that_no_key_ends_is_named_with_the_line_where_its_music_begins(
    tmp_path: Path,
) -> None:
    with pytest.raises(RungwiseError, match="line 5: the music begins although no K: line"):
        _read(tmp_path, "X:1\nT:x\nM:4/4\nL:1/4\nA B c d|]\n")


def test_a_tune_that_cannot_be_read_does_not_hide_one_that_can(tmp_path: Path) -> None:
    file = f"{HEADER}[ceg]4|]\n\n{HEADER.replace('X:1', 'X:2')}A4|]\n"
    assert _played(tmp_path, file) == "A"


def test_signs_that_say_where_to_go_are_read(tmp_path: Path) -> None:
    """ABC 2.1, section 4.14; as annotations they are common practice."""
    for code, sign in (
        ("B4!D.C.!|]", Signs(jump="D.C.")),
        ("B4 !D.S.alcoda! |]", Signs(jump="D.S. al Coda")),
        ('B4"^D.S. al Coda"|]', Signs(jump="D.S. al Coda")),
        ('B4"^Fine"|]', Signs(fine=True)),
        ("!segno!B4|]", Signs(segno=True)),
        ("SB4|]", Signs(segno=True)),
        ("OB4|]", Signs(coda=True)),
        ("B4!dacoda!|]", Signs(to_coda=True)),
        ("B4|!D.C.!|]", Signs(jump="D.C.")),
    ):
        exercise = _read(tmp_path, f"{HEADER}A4|{code}\n")
        assert exercise.lines[0].bars[1].signs == sign, code
        assert not exercise.remarks, code


def test_other_words_over_a_bar_are_words(tmp_path: Path) -> None:
    exercise = _read(tmp_path, HEADER + 'A4|"^fine tone"B4|]\n')
    assert [bar.words for bar in exercise.lines[0].bars] == [(), ("fine tone",)]


@pytest.mark.parametrize(
    "music",
    [
        "e|:ABc def|1 ABc d2e:|2 ABc d2||",
        "e|ABc def|1 ABc d2e:|2 ABc d2|]",
        "|:e|ABc def|1 ABc d2:|2 ABc d3|]",
        "e|ABc def|1 ABc d2:|2 ABc d2|:f|ABc def|1 ABc d2:|2 ABc d2|]",
        "|:ABc def|1 ABc d2:|2 ABc d2||\nf|ABc def|ABc d2|]",
        "e|ABc def|1 ABc def|ABc d2:|2 ABc def|ABc d2|]",
        "ABc def|ABc[1 def:|[2 d3|]",
    ],
)
def test_endings_that_fill_up_a_pickup_add_up(tmp_path: Path, music: str) -> None:
    header = HEADER.replace("M:4/4", "M:6/8").replace("L:1/4", "L:1/8")
    assert "add up" not in _remarks(tmp_path, f"{header}{music}\n")


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("A4|   :B4:|", "A4|:   B4:|"),
        ("|: A4 |B4 :  |c4", "|: A4 |B4   :|c4"),
        ("A4| :|B4", "A4| :|B4"),
        ("A4|: |B4", "A4|: |B4"),
    ],
)
def test_signs_parted_by_spaces_are_joined_where_they_stand(typed: str, meant: str) -> None:
    assert with_whole_bar_lines(typed) == meant
    assert len(typed) == len(meant)


def test_an_ending_that_lacks_a_beat_is_named(tmp_path: Path) -> None:
    said = _remarks(tmp_path, HEADER + "ABcd|1 ABc:|2 ABcd|]\n")
    assert "bar 2: the bar holds 3/4 and 4/4 asks for 4/4" in said


def test_a_finger_over_a_note_is_no_ending(tmp_path: Path) -> None:
    exercise = _read(tmp_path, HEADER + '|:ABcd|"2"ABcd|"1"ABcd:|\n')
    assert not any(bar.signs.endings for bar in exercise.lines[0].bars)


def test_decorations_and_macros_that_are_left_out_are_said(tmp_path: Path) -> None:
    assert "Decorations" in _remarks(tmp_path, HEADER + "A4|!trill!B4|]\n")
    macro = HEADER.replace("K:", "m: ~A = {gAGA}A\nK:")
    assert "Decorations" not in _remarks(tmp_path, macro + "~A4|]\n")


def test_text_in_utf_16_is_read(tmp_path: Path) -> None:
    path = tmp_path / "tune.abc"
    for form in ("utf-16", "utf-8-sig", "latin-1"):
        path.write_bytes(
            HEADER.replace("T:x", "T:Übung").encode(form)
            + "A4|]\n".encode("utf-16-le" if form == "utf-16" else "ascii")
        )
        assert read_abc(path).title == "Übung"


def test_a_line_may_begin_with_a_note_or_rest_and_a_repeat_sign(tmp_path: Path) -> None:
    assert _played(tmp_path, HEADER + "A4|\nA:|\nz:|\n") == "A | A | A | A // z | z"


def test_a_part_begins_in_all_voices_that_are_woven_line_by_line(tmp_path: Path) -> None:
    voices = "P:A\n[V:1]A4|\n[V:2]C4|\nP:B\n[V:1]B4|\n[V:2]C4|\n"
    assert _played(tmp_path, HEADER.replace("K:", "P:ABA\nK:") + voices) == "A // B // A"


def test_the_quotes_of_windows_are_read_in_latin_1(tmp_path: Path) -> None:
    path = tmp_path / "tune.abc"
    path.write_bytes(HEADER.encode().replace(b"T:x", b"T:The class\x92s caf\xe9") + b"A4|]\n")
    assert read_abc(path).title == "The class’s café"


def test_titles_and_headings_hold_no_control_characters_and_end_somewhere(tmp_path: Path) -> None:
    tune = HEADER.replace("T:x", "T:Red\x1b[31m\x07 tune") + "P:One\x1b[0m\nA4|]\n"
    exercise = _read(tmp_path, tune)
    assert (exercise.title, exercise.lines[0].heading) == ("Red[31m tune", "One[0m")
    long = _read(tmp_path, HEADER.replace("T:x", "T:" + "x" * 5_000) + "A4|]\n")
    assert len(long.title) == LONGEST_TITLE


def test_written_abc_is_what_a_piper_would_write() -> None:
    lines = read_abc_line("{gBd}B4 {g}c>d (3efg | a4 z4", FOUR)
    exercise = Exercise("Doublings & more", (Line(lines, 'The "first" line'),))
    assert write_abc(exercise).decode().splitlines() == [
        "%abc-2.1",
        "X:1",
        "T:Doublings &amp; more",
        "M:4/4",
        "L:1/8",
        "Q:1/4=60",
        "K:HP",
        '"^The &quot;first&quot; line"{gBd}B4 {g}c3/2d/2 (3:2:3efg | a4 z4 |]',
    ]


def test_a_line_of_many_bars_is_written_on_several_lines_and_read_as_one(tmp_path: Path) -> None:
    bars = read_abc_line(" | ".join(["A8"] * 20), FOUR)
    path = tmp_path / "long.abc"
    path.write_bytes(write_abc(Exercise("Long", (Line(bars),))))
    assert [len(line.bars) for line in read_abc(path).lines] == [20]


def test_bars_have_the_numbers_that_the_file_gives_them(tmp_path: Path) -> None:
    """ABC 2.1, 4.2, for whole numbers; a bar's own name and none are this program's."""
    code = "[I:setbarnb 7]A4|B4|[I:setbarnb 8a]c4|[I:setbarnb 9]d4|[I:setbarnb -]e4|f4|]\n"
    exercise = _read(tmp_path, HEADER + code)
    assert [bar.number for bar in exercise.lines[0].bars] == ["7", "8", "8a", "9", "", ""]
    path = tmp_path / "again.abc"
    path.write_bytes(write_abc(exercise))
    assert read_abc(path).lines == exercise.lines


def test_what_a_header_tells_and_no_exercise_holds_is_named() -> None:
    """ABC 2.1, section 3.1: the fields of a header."""
    header = "X:1\nT:Larkmoor\nT:Second name\nC:Trad.\nH:Of old\nZ:By ear\nS:\nM:2/4\nK:HP\n"
    exercise = read_abc(Source("tune.abc", f"{header}A4 B4 |]\n".encode()))
    assert "Of the header is left out: history, transcription, further titles." in exercise.remarks
    assert exercise.composer == "Trad."
    plain = read_abc(Source("tune.abc", b"X:1\nT:Larkmoor\nM:2/4\nK:HP\nA4 B4 |]\n"))
    assert not any("header" in remark for remark in plain.remarks)
