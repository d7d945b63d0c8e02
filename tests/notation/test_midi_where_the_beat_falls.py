"""MIDI files made elsewhere, without any mark of ours: movements lie where their own beat falls."""

from __future__ import annotations

from pathlib import Path

import mido
import pytest

from renderer.notation.definition.reader import parse_definition
from renderer.notation.score import Exercise
from renderer.order.tracks import expand
from renderer.reading.exercise import read_exercise
from renderer.technique.realise import realise

TICKS = 960

# Doublings, throws, birls, grips and taorluaths in one tune, as players mix them.
TUNE = """
meter = "4/4"
[[lines]]
abc = "L:1/4 A {gBd}B c {GdG}e | {g}A {GdGe}A {gcd}c {GdG}e | {Gdc}d {gef}e {AGAG}A B | {g}c {gef}e {GdGe}A2 |"
"""  # noqa: E501


def exercise_of(head: str) -> Exercise:
    return realise(parse_definition(f"{head}\n{TUNE}"))


def plain_midi(exercise: Exercise, tempo: int, path: Path) -> None:
    """The track's notes alone, as another program would write them."""
    file = mido.MidiFile(ticks_per_beat=TICKS)
    track = mido.MidiTrack()
    file.tracks.append(track)
    track.append(mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(tempo)))
    track.append(mido.MetaMessage("time_signature", numerator=4, denominator=4))
    now = 0
    for event in expand(exercise, tempo):
        if event.note is None:
            continue
        start, end = (round(float(at) * tempo / 60 * TICKS) for at in (event.start, event.end))
        key = event.note.midi
        track.append(mido.Message("note_on", note=key, velocity=80, time=start - now))
        track.append(mido.Message("note_off", note=key, time=end - start))
        now = end
    file.save(path)


def written(exercise: Exercise) -> list[tuple[object, ...]]:
    return [
        (note.beats, note.ornament, note.slots) for line in exercise for note in line.melody_notes
    ]


@pytest.mark.parametrize("tempo", [48, 60, 71, 80])
@pytest.mark.parametrize(
    "head",
    [
        # As the book has it: doublings begin on the beat, grips end there; then all alike.
        "",
        'ornaments.beat = "first"',
        'ornaments.beat = "last"',
        'gracenotes.placement = "before the beat"',
    ],
)
def test_each_movement_is_laid_where_its_own_beat_falls(
    head: str, tempo: int, tmp_path: Path
) -> None:
    path = tmp_path / "other.mid"
    exercise = exercise_of(head)
    plain_midi(exercise, tempo, path)
    assert written(read_exercise(path)) == written(exercise)


@pytest.mark.parametrize(
    ("head", "beat"),
    [("", None), ('ornaments.beat = "first"', "first"), ('ornaments.beat = "last"', "last")],
)
def test_it_is_played_as_the_file_has_it(head: str, beat: str | None, tmp_path: Path) -> None:
    path = tmp_path / "other.mid"
    exercise = exercise_of(head)
    plain_midi(exercise, 60, path)
    again = read_exercise(path)
    # Nothing is said where the book has it so.
    assert again.beat == beat
    assert again.gracenotes.placement == exercise.gracenotes.placement
    lies = [
        [(e.start, e.note) for e in expand(one, 60) if e.role == "melody"]
        for one in (exercise, again)
    ]
    assert lies[0] == lies[1]


def test_doublings_alone_say_nothing_of_the_beat(tmp_path: Path) -> None:
    path = tmp_path / "other.mid"
    text = 'meter = "4/4"\n[[lines]]\nrun = "A, B, c, d"\nornament = "doubling"\n'
    plain_midi(realise(parse_definition(text.replace("A,", "low A,"))), 60, path)
    assert read_exercise(path).beat is None


def test_where_all_is_exact_nothing_is_said_to_have_moved(tmp_path: Path) -> None:
    path = tmp_path / "other.mid"
    plain_midi(exercise_of(""), 60, path)
    assert not [remark for remark in read_exercise(path).remarks if "moved" in remark]
