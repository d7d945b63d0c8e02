"""A tune keeps the notes that it is written in, unless its reader is asked to take them otherwise.

Which letters a chanter has, and that it plays C and F sharp, is common practice; keys and what they
raise are those of the ABC music standard 2.1, section 3.1.14.
"""

from __future__ import annotations

import pytest

from renderer.errors import RungwiseError
from renderer.notation.score import Exercise, MelodyNote
from renderer.notation.source_file import Source
from renderer.notation.written import AS_WRITTEN, Reading
from renderer.reading.exercise import read_exercise

OPENED, CHANTER = Reading(recognise="opened"), Reading(read_as="chanter")


def tune(music: str, *, key: str = "HP", unit: str = "1/8") -> Source:
    text = f"X:1\nT:Tune\nM:4/4\nL:{unit}\nQ:1/4=60\nK:{key}\n{music}\n"
    return Source("tune.abc", text.encode())


def written(exercise: Exercise) -> str:
    """The notes of the first line, each with its ornament and its length in quavers."""
    bars = exercise.lines[0].bars
    notes = [item for bar in bars for item in bar.items if isinstance(item, MelodyNote)]
    return " ".join(
        "".join(slot.abc for slot in note.slots) + str(note.beats * 2) for note in notes
    )


@pytest.mark.parametrize(
    ("music", "as_notes", "as_movements"),
    [
        ("a{g}a f2 e4|", "a1 {g}a1 f2 e4", None),
        ("{g}A{d}A c2 e4|", "{g}A1 {d}A1 c2 e4", "{g}A{d}A2 c2 e4"),
        ("{g}A{d}A{e}A2 e4|", "{g}A1 {d}A1 {e}A2 e4", None),
        ("{g}B{d}B c2 {g}d{e}d e2|", "{g}B1 {d}B1 c2 {g}d1 {e}d1 e2", "{g}B{d}B2 c2 {g}d{e}d2 e2"),
    ],
)
def test_notes_of_a_tune_are_an_opened_movement_only_where_that_is_asked(
    music: str, as_notes: str, as_movements: str | None
) -> None:
    assert written(read_exercise(tune(music))) == as_notes
    asked = written(read_exercise(tune(music), OPENED))
    assert asked != as_notes
    assert as_movements is None or asked == as_movements


def refusal(source: Source, reading: Reading = AS_WRITTEN) -> str:
    with pytest.raises(RungwiseError) as caught:
        read_exercise(source, reading)
    return str(caught.value)


@pytest.mark.parametrize(
    ("key", "music", "changed"),
    [
        ("G", "{g}A2 {d}c2 e4|", "C natural to C sharp (1 note)"),
        ("C", "A2c2 f2^f2|", "C natural to C sharp (1 note), F natural to F sharp (1 note)"),
        ("A", "{g}A2 e2 {gag}g4|", "G sharp to G natural (4 notes)"),
        ("HP", "A2 _B2 =c4|", "B flat to B natural (1 note), C natural to C sharp (1 note)"),
    ],
)
def test_letters_of_another_key_are_refused_and_can_be_taken_as_the_chanters(
    key: str, music: str, changed: str
) -> None:
    said = refusal(tune(music, key=key))
    assert f"--read-as chanter, which changes {changed}" in said
    exercise = read_exercise(tune(music, key=key), CHANTER)
    assert f"Letters are read as the chanter plays them, which changes {changed}." in (
        exercise.remarks
    )
    plain = music.translate(str.maketrans("", "", "^_="))
    assert exercise.lines == read_exercise(tune(plain)).lines


def test_a_tune_on_the_nine_notes_is_the_same_by_its_letters() -> None:
    source = tune("{g}A2 {d}c2 {e}f2 {gag}g2|")
    assert read_exercise(source, CHANTER) == read_exercise(source)


def test_letters_an_octave_off_are_offered_with_the_octave() -> None:
    source = tune("A,2 C2 F2 G2|", key="C")
    assert "--read-as chanter --transpose 12, which changes" in refusal(source)
    read = read_exercise(source, Reading(read_as="chanter", transpose=12))
    assert written(read) == written(read_exercise(tune("A2c2f2g2|")))
    assert read == read_exercise(source, Reading(read_as="chanter", transpose="auto"))


def test_letters_that_a_chanter_lacks_stay_refused() -> None:
    source = tune("A2 b2 c2 E2|", key="C")
    said = refusal(source)
    assert "--read-as" not in said
    assert "no transposition fits either" in said
    assert "b is not on the chanter" in refusal(source, CHANTER)


def test_of_many_tunes_the_first_whose_letters_fit_is_read() -> None:
    tunes = "X:1\nT:Too high\nM:4/4\nL:1/8\nQ:1/4=60\nK:C\nb4 c4|\n\n"
    tunes += "X:2\nT:In G\nM:4/4\nL:1/8\nQ:1/4=60\nK:G\nA4 c4|\n"
    assert read_exercise(Source("two.abc", tunes.encode()), CHANTER).title == "In G"


def test_a_score_in_musicxml_is_read_by_its_letters_too() -> None:
    notes = "".join(
        f"<note><pitch><step>{step}</step><alter>{alter}</alter><octave>{octave}</octave></pitch>"
        "<duration>1</duration></note>"
        for step, alter, octave in (("A", 0, 4), ("C", 0, 5), ("G", 1, 5), ("F", 1, 5))
    )
    score = (
        '<score-partwise><part-list><score-part id="P1"><part-name>Melody</part-name></score-part>'
        '</part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions>'
        "<time><beats>4</beats><beat-type>4</beat-type></time></attributes>"
        f"{notes}</measure></part></score-partwise>"
    )
    source = Source("score.musicxml", score.encode())
    assert "--read-as chanter, which changes C natural to C sharp (1 note)" in refusal(source)
    assert written(read_exercise(source, CHANTER)) == "A2 c2 g2 f2"
