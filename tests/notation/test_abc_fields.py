"""Reading ABC, value by value: information fields, and what people type instead of the standard.

Check values are from the ABC music standard 2.1: sections 3.1.14 (its table of keys and modes),
3.1.6 to 3.1.9 (meter, unit length, tempo, parts) and 9 (macros).
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from renderer.notation.abc.as_typed import (
    LONGEST_EXPANDED,
    ending_in_words,
    expanded,
    read_macro,
    read_symbol,
)
from renderer.notation.abc.information_fields import (
    PIPES,
    Tempo,
    read_key,
    read_meter,
    read_meters,
    read_order,
    read_tempo,
    read_unit,
    usual_unit,
)
from renderer.notation.abc.reader import read_abc
from renderer.notation.score import Exercise, Meter
from renderer.notation.source_file import Source

MODES = ("maj", "m", "mix", "dor", "phr", "lyd", "loc")
SIGNATURES = {
    7: "C# A# G# D# E# F# B#",
    6: "F# D# C# G# A# B E#",
    5: "B G# F# C# D# E A#",
    4: "E C# B F# G# A D#",
    3: "A F# E B C# D G#",
    2: "D B A E F# G C#",
    1: "G E D A B C F#",
    0: "C A G D E F B",
    -1: "F D C G A Bb E",
    -2: "Bb G F C D Eb A",
    -3: "Eb C Bb F G Ab D",
    -4: "Ab F Eb Bb C Db G",
    -5: "Db Bb Ab Eb F Gb C",
    -6: "Gb Eb Db Ab Bb Cb F",
    -7: "Cb Ab Gb Db Eb Fb Bb",
}
"""The standard's table: sharps (above 0) or flats, and the key in each of `MODES` that has them."""


def signature(fifths: int) -> dict[str, int]:
    if fifths >= 0:
        return dict.fromkeys("FCGDAEB"[:fifths], 1)
    return dict.fromkeys("BEADGCF"[:-fifths], -1)


@pytest.mark.parametrize(
    ("key", "fifths"),
    [
        (f"{tonic}{mode}", fifths)
        for fifths, tonics in SIGNATURES.items()
        for tonic, mode in zip(tonics.split(), MODES, strict=True)
    ],
)
def test_every_key_and_mode_of_the_standards_table_has_its_signature(key: str, fifths: int) -> None:
    assert read_key(key).alters == signature(fifths)


@pytest.mark.parametrize(
    ("key", "alters"),
    [
        ("D exp _b ^f", {"B": -1, "F": 1}),
        ("D Phr ^f", {"B": -1, "E": -1, "F": 1}),
        ("D =c", {"F": 1, "C": 0}),
        ("A MIXOLYDIAN", {"F": 1, "C": 1}),
        ("Amin", {}),
        ("G piping ^g", {"F": 1, "G": 1}),
        ("C __b ^^f", {"B": -2, "F": 2}),
        ("HP", PIPES.alters),
        ("Hp clef=treble", PIPES.alters),
        ("HP =f", {"F": 0, "C": 1}),
        ("D clef=alto", {"F": 1, "C": 1}),
        ("Cb treble+8", signature(-7)),
    ],
)
def test_a_key_may_name_accidentals_and_a_clef_besides(key: str, alters: dict[str, int]) -> None:
    assert read_key(key).alters == alters


@pytest.mark.parametrize("key", ["G#", "A#", "Fb", "H", "Q dorian", "E# lyd"])
def test_a_key_that_no_signature_has_is_refused(key: str) -> None:
    with pytest.raises(ValueError, match="is no key"):
        read_key(key)


@pytest.mark.parametrize(
    ("field", "meter"),
    [
        ("C", (4, 4)), ("c|", (2, 2)), ("2/4", (2, 4)), ("(2+3+2)/8", (7, 8)),
        ("2 + 3 / 8", (5, 8)), ("1/4", (1, 4)), ("6/16", (6, 16)), ("3/1", (3, 1)),
        ("4/32", (4, 32)), ("9/8", (9, 8)),
    ],
)  # fmt: skip
def test_a_meter_is_a_number_of_lengths(field: str, meter: tuple[int, int]) -> None:
    assert read_meter(field) == Meter(*meter)


def test_free_meter_is_none_and_has_quavers_for_its_unit() -> None:
    assert read_meter("none") is read_meter(" ") is None
    assert usual_unit(None) == Fraction(1, 8)


@pytest.mark.parametrize("field", ["0/4", "3/3", "3/0", "4/5", "1000/4", "3", "three", "3/128"])
def test_what_is_no_meter_is_refused(field: str) -> None:
    with pytest.raises(ValueError, match=r"is no meter|is out of range"):
        read_meter(field)


def test_meters_that_take_turns_are_at_most_eight() -> None:
    assert read_meters("6/8 9/8") == (Meter(6, 8), Meter(9, 8))
    assert read_meters("C, C|") == (Meter(4, 4), Meter(2, 2))
    assert read_meters("(2+3) / 8 3/4") == (Meter(5, 8), Meter(3, 4))
    assert len(read_meters(" ".join(["2/4", "3/4"] * 9))) == 8


@pytest.mark.parametrize("unit", [1, 2, 4, 8, 16, 32, 64, 128, 256, 512])
def test_a_unit_length_is_one_by_a_power_of_two(unit: int) -> None:
    assert read_unit(f" 1/{unit} ") == Fraction(1, unit)
    for wrong in (f"1/{unit * 3}", f"2/{unit}", f"1/-{unit}"):
        with pytest.raises(ValueError, match="is no unit length"):
            read_unit(wrong)


def test_a_unit_length_may_be_a_whole_note() -> None:
    assert read_unit("1") == 1


@pytest.mark.parametrize(
    ("field", "tempo"),
    [
        ("1/8=120", Tempo(Fraction(60))),
        ("3/8=40", Tempo(Fraction(60))),
        ("120", Tempo(Fraction(60), counts_units=True)),
        ("C=80", Tempo(Fraction(40), counts_units=True)),
        ("C3=40", Tempo(Fraction(60), counts_units=True)),
        ("40 bpm", Tempo(Fraction(60))),
        ("40 beats a minute", Tempo(Fraction(60))),
        ("1/4=60-66", Tempo(Fraction(60), is_range=True)),
        ("1/4=60 .. 66", Tempo(Fraction(60), is_range=True)),
        ("ca. 120", Tempo(Fraction(60), counts_units=True)),
        ("1/4 = about 60", Tempo(Fraction(60))),
        ("1/4=60.5", Tempo(Fraction(121, 2))),
        ('"Slowly" 1/4=60 "or so"', Tempo(Fraction(60))),
        ('"Slowly"', None),
        ("0", None),
    ],
)
def test_a_tempo_counts_the_note_value_that_it_names_or_units(
    field: str, tempo: Tempo | None
) -> None:
    # Units are quavers here, and the beat is dotted.
    assert read_tempo(field, Fraction(1, 8), Fraction(3, 8)) == tempo


@pytest.mark.parametrize("field", ["fast", "1/4=", "1/0=60", "1/4=60=70", "60/0"])
def test_what_is_no_tempo_is_refused(field: str) -> None:
    with pytest.raises(ValueError, match="is no tempo"):
        read_tempo(field, Fraction(1, 8), Fraction(1, 4))


@pytest.mark.parametrize(
    ("field", "parts"),
    [
        ("ABA", "ABA"), ("A2.(BC)2", "AABCBC"), ("((AB)2C)2", "ABABCABABC"), ("A0B", "B"),
        (" A . B ", "AB"), ("", ""), ("A10", "A" * 10),
    ],
)  # fmt: skip
def test_an_order_of_parts_is_written_out(field: str, parts: str) -> None:
    assert "".join(read_order(field)) == parts


@pytest.mark.parametrize("field", ["(AB", "AB)", "A(2B)", "a", "A-B", "(A))", "A999999"])
def test_what_is_no_order_of_parts_is_refused(field: str) -> None:
    with pytest.raises(ValueError, match=r"no order of parts|names more than"):
        read_order(field)


@pytest.mark.parametrize(
    ("words", "number"),
    [
        ("1st time", "1"), ("2nd", "2"), ("(3rd ending)", "3"), ("Second time", "2"), ("4th", "4"),
        ("first volta:", "1"), ("third times", "3"), ("fourth ending", "4"), ("2.", "2"),
        ("Second", ""), ("time", ""), ("2", ""), ("0th", ""), ("second part", ""),
    ],
)  # fmt: skip
def test_words_over_a_bar_begin_the_ending_that_they_name(words: str, number: str) -> None:
    assert ending_in_words(words) == number


def test_a_number_alone_is_an_ending_in_its_bracket_only() -> None:
    assert ending_in_words("2", is_bracketed=True) == "2"
    assert ending_in_words("2") == ""


def written_out(code: str, *fields: str) -> str:
    return expanded(code, [read_macro(field) for field in fields])


def test_a_macro_is_written_out_wherever_it_stands_but_in_words() -> None:
    assert written_out('~A4 "~A4" ~A4', "~A4 = {gAd}A4") == '{gAd}A4 "~A4" {gAd}A4'
    assert written_out('"a"~A4"b"~A4"c"', "~A4 = A2A2") == '"a"A2A2"b"A2A2"c"'
    assert written_out("~A4", "~B4 = B2B2") == "~A4"


@pytest.mark.parametrize(
    ("note", "moved"),
    [
        ("C,", "B,, C, D, C"),
        ("A,", "G, A, B, A"),
        ("C", "B, C D c"),
        ("B", "A B c b"),
        ("c", "B c d c'"),
        ("b", "a b c' b'"),
        ("c'", "b c' d' c''"),
        ("d''", "c'' d'' e'' d'''"),
    ],
)
def test_a_macro_for_any_note_moves_its_neighbours_with_it_through_the_octaves(
    note: str, moved: str
) -> None:
    # The note below, the note, the one above, and the seventh letter on: its octave.
    assert written_out(f"~{note}4", "~n4 = m n o u") == moved


def test_words_in_a_macro_for_any_note_stay_as_they_are() -> None:
    assert written_out("~B", '~n = "on"n') == '"on"B'


@pytest.mark.parametrize("field", ["x", "= A", "~A =", "~" * 32 + " = A", "~A = " + "A" * 201])
def test_what_is_no_macro_is_refused(field: str) -> None:
    with pytest.raises(ValueError, match=r"is no macro|longer than the standard"):
        read_macro(field)


def test_a_macro_may_be_as_long_as_the_standard_allows() -> None:
    target, text = "~" * 31, "A" * 200
    assert written_out(target, f"{target} = {text}") == text


def test_macros_that_make_a_line_endless_are_refused() -> None:
    most = LONGEST_EXPANDED // 200
    assert len(written_out("~" * most, "~ = " + "A" * 200)) == LONGEST_EXPANDED
    with pytest.raises(ValueError, match="too long"):
        written_out("~" * most + "A", "~ = " + "A" * 200)


@pytest.mark.parametrize(
    ("field", "symbol"),
    [("T = !trill!", ("T", "trill")), ("~=+roll+", ("~", "roll")), ("w = fine", ("w", "fine"))],
)
def test_a_symbol_stands_for_a_decoration(field: str, symbol: tuple[str, str]) -> None:
    assert read_symbol(field) == symbol


@pytest.mark.parametrize("field", ["A = !trill!", "T", "TT = !trill!", "x = !trill!"])
def test_letters_of_notes_are_no_symbols(field: str) -> None:
    with pytest.raises(ValueError, match="is no symbol"):
        read_symbol(field)


def read_tune(music: str) -> Exercise:
    text = f"X:1\nT:Tune\nM:2/4\nL:1/8\nK:HP\n{music}\n"
    return read_abc(Source("tune.abc", text.encode()))


@pytest.mark.parametrize("heading", ["1.", "2", "(3)", "1:"])
def test_a_number_that_heads_a_line_is_no_ending(heading: str) -> None:
    line, other = read_tune(f'"^{heading}"A4|B4||\n"^{heading}"c4|d4|]').lines
    assert (line.heading, other.heading) == (heading, heading)
    assert not any(bar.signs.endings for bar in (*line.bars, *other.bars))


@pytest.mark.parametrize("words", ["1st time", "2nd", "1."])
def test_a_line_that_follows_an_ending_begins_the_next_one_in_words(words: str) -> None:
    (line,) = read_tune(f'A4|"^1."B4:|\n"^{words}"c4|]').lines
    number = int(words[0])
    assert [bar.signs.endings for bar in line.bars] == [(), (1,), (number,)]
