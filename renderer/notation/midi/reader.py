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
from renderer.notation.kept_settings import MIDI_SHIFT, MIDI_STRETCH, MIDI_TEMPOS, with_settings
from renderer.notation.midi.bars import measures_of, place_named
from renderer.notation.midi.file import MidiContents, read_contents
from renderer.notation.midi.grid import as_written
from renderer.notation.midi.led_notes import (
    Tone,
    is_our_own,
    seconds_of_own,
    tones_of,
    ways_to_tell,
)
from renderer.notation.midi.melody import Clash, Melody, melodies_of
from renderer.notation.midi.onsets import MOST_TRIED, Fit, Quantiser
from renderer.notation.midi.tempos import BarTempos
from renderer.notation.playing import Beat
from renderer.notation.score import Exercise, Placement
from renderer.notation.source_file import Source, Written, open_source
from renderer.notation.to_exercise import exercise_of
from renderer.notation.written import AS_WRITTEN, Pitch, Reading, Score, index_of_part

_OFF_THE_GRID = 0.5
"""Of short notes in an exact file: where more are off the grid, or put the notes that they lead to
off it, they are gracenotes (judgement)."""

_STRAYING, _STRAYING_SECONDS = 3, 0.005
"""By so many times what the other notes stray from the beat, and so much beside it, short notes and
those that they lead to may stray and still be notes (judgement)."""


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
    index = _chosen(melodies, [score for score, *_ in scores], reading)
    score, placement, beat = scores[index]
    exercise = exercise_of(score, reading)
    if any(note.gracenotes for measure in score.measures for note in measure.notes):
        gracenotes = replace(exercise.gracenotes, placement=placement)
        exercise = replace(exercise, gracenotes=gracenotes, beat=beat)
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
    return name in (MIDI_SHIFT, MIDI_STRETCH, MIDI_TEMPOS)


def _score(
    contents: MidiContents, melody: Melody, source: Source, reading: Reading
) -> tuple[Score, Placement, Beat | None]:
    quantiser = Quantiser(contents)
    tones, said = _tones(contents, melody, quantiser, reading)
    onsets = quantiser.onsets(tones)
    tempos = BarTempos(contents)
    measures = measures_of(contents, onsets, quantiser, tempos)
    remarks = melody.remarks + said + tempos.remarks
    worst = max(quantiser.errors) * 1000
    if worst >= 1:
        mean = sum(quantiser.errors) / len(quantiser.errors) * 1000
        remarks += (
            f"Notes were moved to the beat's quarters and thirds: by {mean:.0f} ms on average, "
            f"{worst:.0f} ms at most.",
        )
    title = contents.title or source.stem
    score = Score(title, tuple(measures), False, source.name, remarks)
    return score, quantiser.placement, quantiser.beat


def _tones(
    contents: MidiContents, melody: Melody, quantiser: Quantiser, reading: Reading
) -> tuple[list[Tone], tuple[str, ...]]:
    """The melody's notes with the short ones that lead into them, and how these were told."""

    def tones(seconds: float) -> list[Tone]:
        return list(tones_of(melody, contents, seconds))

    if is_our_own(contents):
        given = reading.gracenote_under_ms
        return tones(max(seconds_of_own(contents), 0 if given is None else given / 1000)), ()
    if reading.gracenote_under_ms is not None:
        return tones(reading.gracenote_under_ms / 1000), ()
    trial = replace(melody, notes=melody.notes[:MOST_TRIED])
    ways = ways_to_tell(trial, contents)
    fits = [quantiser.fit(list(tones_of(trial, contents, way.seconds))) for way in ways]
    # Of ways that fit alike, that one which takes the fewest notes for gracenotes.
    way, _ = next(
        (way, fit)
        for at, (way, fit) in enumerate(zip(ways, fits, strict=True))
        if all(_fits_as_well(fit, other) for other in fits[at + 1 :])
    )
    found = tones(way.seconds)
    has_gracenotes = any(tone.group for tone in found)
    return found, (way.said,) if has_gracenotes else ()


def _fits_as_well(fewer: Fit, more: Fit) -> bool:
    """Whether notes are no farther from the beat than where more of them are gracenotes."""
    count = fewer.tones - more.tones
    if fewer.is_exact and more.is_exact:
        return fewer.off_the_grid - more.off_the_grid <= count * _OFF_THE_GRID
    may_stray = _STRAYING * more.error_seconds / more.tones + _STRAYING_SECONDS
    return fewer.error_seconds - more.error_seconds <= count * may_stray


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
