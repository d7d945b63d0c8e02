"""How a score's pitches lie on the chanter: pitches of any octave and key in, the nine notes out.

Transpositions are in semitones. What lies off the nine notes is reported with bar and beat, and
with what would read it: a transposition, or its letters taken as a chanter plays them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from renderer.errors import Problem
from renderer.notation.pitch import NINE_NOTES, Note
from renderer.notation.written import AS_WRITTEN, Measure, Pitch, Reading, Score, beat_at

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
    by_letter:
        Whether every letter means the chanter's own note, whatever key and accidentals say.
    """

    shift: int = 0
    naturals_sound_sharp: bool = False
    by_letter: bool = False

    def note(self, pitch: Pitch) -> Note | None:
        """The chanter's note for a written pitch, or None outside the nine."""
        if self.by_letter:
            pitch = _as_the_chanter_has_it(pitch)
        plain = pitch.alter == 0 and pitch.step in ("C", "F")
        raised = 1 if self.naturals_sound_sharp and plain else 0
        return _NOTE_OF_MIDI.get(pitch.midi + self.shift + raised)

    def fits(self, pitches: Iterable[Pitch]) -> bool:
        """Whether every pitch lies on the nine notes."""
        return all(self.note(pitch) is not None for pitch in pitches)


def _as_the_chanter_has_it(pitch: Pitch) -> Pitch:
    """A pitch of the same letter in the chanter's scale, in which C and F are sharp."""
    return Pitch(pitch.step, 1 if pitch.step in ("C", "F") else 0, pitch.octave)


def _all_pitches(measures: Iterable[Measure]) -> Iterator[Pitch]:
    for measure in measures:
        for note in measure.notes:
            for pitch in (*note.gracenotes, note.pitch):
                if pitch is not None:
                    yield pitch


def _pitches(measures: Iterable[Measure]) -> frozenset[Pitch]:
    return frozenset(_all_pitches(measures))


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


def _letters_fitting(pitches: frozenset[Pitch], nearest: int) -> ChanterPitches | None:
    """The octave in which all letters lie on the nine notes, that shift first; None if in none."""
    for shift in sorted({nearest, *range(-36, 37, 12)}, key=lambda one: abs(one - nearest)):
        letters = ChanterPitches(shift, by_letter=True)
        if letters.fits(pitches):
            return letters
    return None


def chanter_pitches(
    measures: Sequence[Measure], reading: Reading, *, keyless: bool
) -> ChanterPitches:
    """Return how the score's pitches are read, whether or not all of them lie on the nine notes."""
    pitches = _pitches(measures)
    transpose = reading.transpose
    if reading.read_as == "chanter":
        if transpose == "auto":
            return _letters_fitting(pitches, 0) or ChanterPitches(by_letter=True)
        return ChanterPitches(transpose, by_letter=True)
    if transpose == "auto":
        return fitting(pitches, keyless=keyless) or ChanterPitches()
    plain = ChanterPitches(transpose)
    pipers = ChanterPitches(transpose, _as_pipers_write(pitches, keyless))
    return plain if plain.fits(pitches) or not pipers.naturals_sound_sharp else pipers


def _changes_by_letter(measures: Sequence[Measure]) -> str:
    """What letters change when they are the chanter's: `C natural to C sharp (2 notes)`."""
    changed: Counter[tuple[str, str]] = Counter()
    for pitch in _all_pitches(measures):
        as_chanter = _as_the_chanter_has_it(pitch)
        if as_chanter.alter != pitch.alter:
            changed[pitch.letter_and_sign, as_chanter.letter_and_sign] += 1
    return ", ".join(
        f"{written} to {played} ({count} {'note' if count == 1 else 'notes'})"
        for (written, played), count in sorted(changed.items())
    )


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
    if reading.by_letter and (changed := _changes_by_letter(measures)):
        yield f"Letters are read as the chanter plays them, which changes {changed}."


def off_the_chanter(
    measures: Sequence[Measure],
    reading: ChanterPitches,
    *,
    keyless: bool,
    has_options: bool = False,
    remedy: str = "",
) -> list[Problem]:
    """Return one problem for each note that is not on the chanter, and one that says what to do.

    Parameters
    ----------
    measures, reading, keyless:
        The score, and how its pitches are read.
    has_options:
        Whether the user can ask for another reading, by `--transpose` and `--read-as`.
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
    if has_options:
        ways = list(_other_readings(measures, reading, keyless))
        remedy = "; or ".join(ways) if ways else f"{remedy}; no transposition fits either"
    last = wrong[-1]
    wrong[-1] = Problem(last.cause, remedy, last.place)
    return wrong


def _other_readings(
    measures: Sequence[Measure], reading: ChanterPitches, keyless: bool
) -> Iterator[str]:
    """Yield what the user can ask for so that every note lies on the chanter."""
    pitches = _pitches(measures)
    letters = _letters_fitting(pitches, reading.shift)
    if letters is not None:
        way = "" if letters.shift == 0 else f" --transpose {letters.shift}"
        changed = _changes_by_letter(measures)
        what = f", which changes {changed}" if changed else ""
        yield f"its letters are the chanter's nine: --read-as chanter{way}{what}"
    found = fitting(pitches, keyless=keyless)
    if found is not None:
        yield f"transposed by {found.shift} semitones everything fits: --transpose {found.shift}"


def lies_on_the_chanter(score: Score, reading: Reading = AS_WRITTEN) -> bool:
    """Whether the score has notes and all of them lie on the nine, read as asked."""
    pitches = _pitches(score.measures)
    read = chanter_pitches(score.measures, reading, keyless=score.keyless)
    return bool(pitches) and read.fits(pitches)
