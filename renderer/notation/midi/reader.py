"""Reading MIDI: the melody of one track to an exercise.

Short notes before a longer one become its gracenotes (`tones`), what is left is laid on the
beat (`onsets`) and parted into bars (`bars`). Here the track is chosen, and said what
had to be decided.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from renderer.errors import RungwiseError, failure
from renderer.notation.chanter_pitches import lies_on_the_chanter
from renderer.notation.kept_settings import MIDI_SHIFT, MIDI_STRETCH, with_settings
from renderer.notation.midi.bars import measures_of, place_named
from renderer.notation.midi.file import MidiContents, read_contents
from renderer.notation.midi.grid import as_written
from renderer.notation.midi.led_notes import tones_of
from renderer.notation.midi.melody import Clash, Melody, melodies_of
from renderer.notation.midi.onsets import Quantiser
from renderer.notation.midi.tempos import BarTempos
from renderer.notation.score import Exercise, Placement
from renderer.notation.source_file import Source, Written, open_source
from renderer.notation.to_exercise import exercise_of
from renderer.notation.written import AS_WRITTEN, Pitch, Reading, Score, index_of_part


def read_midi(written: Written, reading: Reading = AS_WRITTEN) -> Exercise:
    """Read the melody of one track of a standard MIDI file.

    Parameters
    ----------
    written:
        A file's path, or a source in hand.
    reading:
        What the user asks; `part` is a track's name or number, counted from 1 among those that
        play one note at a time. Without it the first that lies on the nine notes is read.

    Raises
    ------
    RungwiseError
        For a file that is no MIDI, has no melody, or has notes off the chanter.
    """
    source = open_source(written)
    try:
        return _read(source, reading)
    except RungwiseError as error:
        raise error.in_file(source.name) from None


def _read(source: Source, reading: Reading) -> Exercise:
    contents = as_written(read_contents(source))
    melodies, clashes = melodies_of(contents)
    if not melodies:
        raise _without_melody(contents, clashes)
    scores = [_score(contents, melody, source, reading) for melody in melodies]
    index = _chosen(melodies, [score for score, _ in scores], reading)
    score, placement = scores[index]
    exercise = exercise_of(score, reading)
    if any(note.gracenotes for measure in score.measures for note in measure.notes):
        exercise = replace(exercise, gracenotes=replace(exercise.gracenotes, placement=placement))
    settings = {name: v for name, v in contents.settings.items() if not _is_of_the_file(name)}
    exercise = with_settings(exercise, settings)
    return replace(exercise, remarks=(*exercise.remarks, *_remarks_on_others(melodies, index)))


def _without_melody(contents: MidiContents, clashes: Sequence[Clash]) -> RungwiseError:
    remedy = "a chanter plays one: export the melody on its own"
    if not clashes:
        return failure("it plays no notes", "export a track with a melody")
    # What comes nearest to a melody is likeliest to be meant as one.
    clash = max(clashes, key=lambda one: one.begun.start)
    held, begun = (Pitch.of_midi(note.key) for note in (clash.held, clash.begun))
    name = f" of {clash.voice.name}" if clash.voice.name else ""
    return failure(
        f"no track plays one note at a time: {begun}{name} begins while {held} sounds",
        remedy,
        place=place_named(contents, clash.begun.start),
    )


def _remarks_on_others(melodies: Sequence[Melody], index: int) -> Iterator[str]:
    """Say which of several tracks is read; what holds one note throughout is a drone."""
    others = [melody for melody in melodies if melody is not melodies[index]]
    tunes = [melody for melody in others if not melody.is_one_note]
    if tunes:
        name = melodies[index].voice.name or f"number {index + 1}"
        yield f"{len(tunes) + 1} tracks have a melody; {name} is read."
    if len(tunes) < len(others):
        yield "Tracks that hold one note are left out, as drones."


def _is_of_the_file(name: str) -> bool:
    """Whether a setting is about the file's notes and not about the exercise."""
    return name in (MIDI_SHIFT, MIDI_STRETCH)


def _score(
    contents: MidiContents, melody: Melody, source: Source, reading: Reading
) -> tuple[Score, Placement]:
    quantiser = Quantiser(contents)
    onsets = quantiser.onsets(list(tones_of(melody, contents, reading)))
    tempos = BarTempos(contents)
    measures = measures_of(contents, onsets, quantiser, tempos)
    remarks = melody.remarks + tempos.remarks
    worst = max(quantiser.errors) * 1000
    if worst >= 1:
        mean = sum(quantiser.errors) / len(quantiser.errors) * 1000
        remarks += (
            f"Notes were moved to the beat's quarters and thirds: by {mean:.0f} ms on average, "
            f"{worst:.0f} ms at most.",
        )
    title = contents.title or source.stem
    return Score(title, tuple(measures), False, source.name, remarks), quantiser.placement


def _chosen(melodies: list[Melody], scores: list[Score], reading: Reading) -> int:
    if reading.part is not None:
        names = [melody.voice.name for melody in melodies]
        return index_of_part(reading.part, names, "track with a melody that is called")

    def unlikely(index: int) -> tuple[bool, bool, bool]:
        """What lies off the chanter, what is a drone on its own, and what must be transposed."""
        return (
            not lies_on_the_chanter(scores[index], reading),
            melodies[index].is_one_note,
            not lies_on_the_chanter(scores[index]),
        )

    return min(range(len(melodies)), key=unlikely)
