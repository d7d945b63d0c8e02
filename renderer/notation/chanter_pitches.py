"""How a score's pitches lie on the chanter: pitches of any octave and key in, the nine notes out.

Transpositions are in semitones. What lies off the nine notes is reported with bar and beat.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from renderer.errors import Problem
from renderer.notation.pitch import NINE_NOTES, Note
from renderer.notation.written import Measure, Pitch, Score, Transposition, beat_at

MOST_REPORTED = 40
"""Notes off the chanter that are named one by one."""

_NOTE_OF_MIDI = {note.midi: note for note in Note}


@dataclass(frozen=True, slots=True)
class ChanterPitches:
    """How a score's pitches lie on the nine notes.

    Parameters
    ----------
    shift:
        Semitones from the written pitch to the chanter's.
    naturals_sound_sharp:
        Whether C and F written without sharps mean the chanter's own C and F, which sound sharp.
    """

    shift: int = 0
    naturals_sound_sharp: bool = False

    def note(self, pitch: Pitch) -> Note | None:
        """The chanter's note for a written pitch, or None outside the nine."""
        plain = pitch.alter == 0 and pitch.step in ("C", "F")
        raised = 1 if self.naturals_sound_sharp and plain else 0
        return _NOTE_OF_MIDI.get(pitch.midi + self.shift + raised)

    def fits(self, pitches: Iterable[Pitch]) -> bool:
        """Whether every pitch lies on the nine notes."""
        return all(self.note(pitch) is not None for pitch in pitches)


def _pitches(measures: Iterable[Measure]) -> frozenset[Pitch]:
    return frozenset(
        pitch
        for measure in measures
        for note in measure.notes
        for pitch in (note.pitch, *note.gracenotes)
        if pitch is not None
    )


def _as_pipers_write(pitches: frozenset[Pitch], keyless: bool) -> bool:
    """Whether the score has neither a key signature nor a sharp C or F, as pipe music has not."""
    return keyless and not any(p.step in ("C", "F") and p.alter for p in pitches)


def fitting(pitches: frozenset[Pitch], *, keyless: bool, widest: int = 36) -> ChanterPitches | None:
    """Return the transposition that puts every pitch on the nine notes, or None.

    By octaves if one fits, else the nearest.

    Parameters
    ----------
    pitches:
        As written.
    keyless:
        Whether the score has no key signature. Without one, and without sharps, C and F may also
        be read as pipers write them.
    widest:
        Semitones up or down.
    """
    pipers = _as_pipers_write(pitches, keyless)
    # Octaves come first, for they keep the notes' names.
    by_size = sorted(range(-widest, widest + 1), key=lambda shift: (abs(shift), shift < 0))
    for shift in sorted(by_size, key=lambda shift: shift % 12 != 0):
        if ChanterPitches(shift).fits(pitches):
            return ChanterPitches(shift)
        if pipers and shift % 12 == 0 and ChanterPitches(shift, True).fits(pitches):
            return ChanterPitches(shift, True)
    return None


def chanter_pitches(
    measures: Sequence[Measure], transpose: Transposition, *, keyless: bool
) -> ChanterPitches:
    """Return how the score's pitches are read, whether or not all of them lie on the nine notes."""
    pitches = _pitches(measures)
    if transpose == "auto":
        return fitting(pitches, keyless=keyless) or ChanterPitches()
    plain = ChanterPitches(transpose)
    pipers = ChanterPitches(transpose, _as_pipers_write(pitches, keyless))
    return plain if plain.fits(pitches) or not pipers.naturals_sound_sharp else pipers


def pitch_remarks(measures: Sequence[Measure], reading: ChanterPitches) -> Iterator[str]:
    """Yield what the user should know of how the pitches of measures are read, in sentences."""
    if reading.shift:
        way = "up" if reading.shift > 0 else "down"
        count = abs(reading.shift)
        unit = "semitone" if count == 1 else "semitones"
        yield f"Transposed {way} {count} {unit} to lie on the chanter's notes."
    if reading.naturals_sound_sharp and any(p.step in ("C", "F") for p in _pitches(measures)):
        yield (
            "The score has no key signature and no sharps: its C and F are read as the chanter's, "
            "which sound C sharp and F sharp."
        )


def off_the_chanter(
    measures: Sequence[Measure],
    reading: ChanterPitches,
    *,
    keyless: bool,
    option: str = "",
    remedy: str = "",
) -> list[Problem]:
    """Return one problem for each note that is not on the chanter, and one that says what to do.

    Parameters
    ----------
    measures, reading, keyless:
        The score, and how its pitches are read.
    option:
        How the user transposes, such as `--transpose`; empty where there is no way to.
    remedy:
        What would be right, where it is not the nine notes by name.
    """
    wrong: list[Problem] = []
    count = 0
    for measure in measures:
        offset = Fraction(0)
        for written in measure.notes:
            for pitch in (*written.gracenotes, written.pitch):
                if pitch is None or reading.note(pitch) is not None:
                    continue
                count += 1
                kind = "" if pitch is written.pitch else "gracenote "
                place = f"{measure.place}, beat {beat_at(offset, measure.meter)}"
                if count <= MOST_REPORTED:
                    wrong.append(Problem(f"{kind}{pitch} is not on the chanter", "", place))
            offset += written.length
    if not wrong:
        return []
    if count > MOST_REPORTED:
        wrong.append(Problem(f"{count - MOST_REPORTED} more notes are not on the chanter", ""))
    remedy = remedy or f"the nine notes are {NINE_NOTES}: G4 A4 B4 C#5 D5 E5 F#5 G5 A5"
    found = fitting(_pitches(measures), keyless=keyless)
    if option and found is not None:
        remedy = f"transposed by {found.shift} semitones everything fits: {option} {found.shift}"
    elif option:
        remedy += "; no transposition fits either"
    last = wrong[-1]
    wrong[-1] = Problem(last.cause, remedy, last.place)
    return wrong


def lies_on_the_chanter(score: Score, transpose: Transposition) -> bool:
    """Whether the score has notes and all of them lie on the nine, transposed as asked."""
    pitches = _pitches(score.measures)
    reading = chanter_pitches(score.measures, transpose, keyless=score.keyless)
    return bool(pitches) and reading.fits(pitches)
