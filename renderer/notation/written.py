"""A score as a file writes it, and the way from there to an exercise.

The readers of ABC, MusicXML and MIDI turn their form into `Measure`s: notes in shares of a whole
note, at any pitch, with repeats still as signs. `exercise_of` plays the repeats out, moves the
pitches to the nine notes, joins tied notes, and parts the music into lines and bars.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Literal

from renderer.errors import Problem, RungwiseError, failure
from renderer.notation.groups import slots_of_group
from renderer.notation.limits import (
    FASTEST_TEMPO,
    LONGEST_TITLE,
    MOST_BARS,
    MOST_LINES,
    MOST_WRITTEN_NOTES,
    SLOWEST_TEMPO,
)
from renderer.notation.pitch import NINE_NOTES, Note
from renderer.notation.score import Bar, Exercise, Item, Line, MelodyNote, Meter, Rest, Slot

Rests = Literal["silence", "hold"]
Transposition = int | Literal["auto"]

QUARTER = Fraction(1, 4)
USUAL_TEMPO = Fraction(60)
"""Beats per minute of a score without a tempo mark."""

MOST_REPORTED = 40
MOST_PASSES = 99
"""How often a repeat is played, and the highest number of an ending."""

MIDBAR_TEMPO = "A tempo mark inside a bar holds from the next bar."
JUMPS_LEFT_OUT = (
    "Da capo, dal segno, coda and fine are not played out: the music is read in the order in which "
    "it is written."
)
_JUMP = re.compile(
    r"\bD\.?\s?[CS]\.?(?!\w)|\bda\s?capo\b|\bda[cl]\s?(?:segno|coda)\b|\bto\s+coda\b"
    r"|^\W*(?:fine|segno|coda)\W*$",
    re.IGNORECASE,
)
_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SHARP_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_NOTE_OF_MIDI = {note.midi: note for note in Note}


def is_jump(words: str) -> bool:
    """Whether words above the staff send the player elsewhere, such as `D.C. al Fine`."""
    return len(words) <= 80 and _JUMP.search(words) is not None


def passes_of_ending(text: str) -> tuple[int, ...]:
    """Return the passes that an ending's number names, such as `1, 2` or `1-3`, in order."""
    numbers: set[int] = set()
    for first, last in re.findall(r"(\d{1,3})(?:\s*-\s*(\d{1,3}))?", text[:1000]):
        numbers.update(range(int(first), min(int(last or first), MOST_PASSES) + 1))
    return tuple(sorted(number for number in numbers if 1 <= number <= MOST_PASSES))


@dataclass(frozen=True, slots=True)
class Pitch:
    """A written pitch.

    Parameters
    ----------
    step, alter, octave:
        Letter `A` to `G`, semitones raised, octave (middle C begins octave 4).
    spelling:
        How the file spells it, for messages, where that is not by these three.
    """

    step: str
    alter: int
    octave: int
    spelling: str = field(default="", compare=False)

    @property
    def midi(self) -> int:
        """The MIDI key number."""
        return 12 * (self.octave + 1) + _SEMITONES[self.step] + self.alter

    def __str__(self) -> str:
        if self.spelling:
            return self.spelling
        sign = "#" * self.alter if self.alter > 0 else "b" * -self.alter
        return f"{self.step}{sign}{self.octave}"

    @classmethod
    def of_midi(cls, key: int) -> Pitch:
        """The pitch of a MIDI key number, spelled with sharps."""
        name = _SHARP_NAMES[key % 12]
        return cls(name[0], len(name) - 1, key // 12 - 1)


@dataclass(frozen=True, slots=True)
class Written:
    """A note or rest as a file writes it.

    Parameters
    ----------
    length:
        As a share of a whole note; above 0.
    pitch:
        None for a rest.
    gracenotes:
        The flat group before it.
    tied:
        Whether it is tied to the note before it.
    """

    length: Fraction
    pitch: Pitch | None
    gracenotes: tuple[Pitch, ...] = ()
    tied: bool = False


@dataclass(frozen=True, slots=True)
class Measure:
    """A bar as a file writes it.

    Parameters
    ----------
    notes:
        In order.
    meter:
        The meter in force; None for free meter.
    place:
        Where it is in the file, for messages, such as `line 7, bar 2`.
    tempo:
        A tempo mark at its start, in quarter notes per minute.
    begins_line, heading:
        Whether a line of the exercise begins here, and what is written above it.
    opens, closes:
        `opens`: a repeat begins here. `closes`: how often the music up to here is played in all
        (2 for a plain repeat sign), 0 without a sign.
    endings:
        The passes that it is played in; empty for all.
    """

    notes: tuple[Written, ...]
    meter: Meter | None
    place: str
    tempo: Fraction | None = None
    begins_line: bool = False
    heading: str = ""
    opens: bool = False
    closes: int = 0
    endings: tuple[int, ...] = ()

    @property
    def length(self) -> Fraction:
        """How much of a whole note the bar's notes fill."""
        return sum((note.length for note in self.notes), Fraction(0))


@dataclass(frozen=True, slots=True)
class Reading:
    """What the user asks of a score that is read.

    Parameters
    ----------
    part:
        The part (MusicXML), track (MIDI) by name or number from 1, or the tune (ABC) by its `X:`
        number or title; None for the first that lies on the nine notes.
    transpose:
        Semitones, or `auto` to look for the nearest shift that fits the nine notes.
    rests:
        `silence` stops the chanter, `hold` holds the note before.
    play_repeats:
        Whether repeats and endings are played out; otherwise everything is read once, as it stands.
    gracenote_under_ms:
        MIDI: a note shorter than this before a longer one is a gracenote.
    """

    part: str | None = None
    transpose: Transposition = 0
    rests: Rests = "silence"
    play_repeats: bool = True
    gracenote_under_ms: float = 80.0


AS_WRITTEN = Reading()


@dataclass(frozen=True, slots=True)
class _Section:
    """Measures that are repeated together, and how often they are played in all."""

    measures: tuple[Measure, ...]
    passes: int


def _sections(measures: Sequence[Measure]) -> Iterator[_Section]:
    start = 0
    for at, measure in enumerate(measures):
        after = measures[at + 1] if at + 1 < len(measures) else None
        endings_go_on = bool(measure.endings) and after is not None and bool(after.endings)
        ends = bool(measure.closes or measure.endings) and not endings_go_on
        if ends or after is None or (after.opens and not endings_go_on):
            section = tuple(measures[start : at + 1])
            yield _Section(section, _passes(section))
            start = at + 1


def _passes(section: Sequence[Measure]) -> int:
    closes = max(measure.closes for measure in section)
    brackets = {measure.endings for measure in section if measure.endings}
    last = max((number for numbers in brackets for number in numbers), default=1)
    if not closes:
        return last
    # A lone bracket is the first ending; the second one was left unmarked.
    return max(last, closes if len(brackets) < 2 else 1)


def played_out(measures: Sequence[Measure]) -> list[Measure]:
    """Return the measures in the order in which they are played.

    A repeat goes back to the last measure that opens one, else to the measure after the last
    repeat, else to the start. A measure with `endings` is played in those passes only. A repeat
    inside a line goes on with the line; one over several lines begins them anew.

    Raises `RungwiseError` beyond `MOST_BARS`.
    """
    order: list[Measure] = []
    for section in _sections(measures):
        one_line = not any(measure.begins_line for measure in section.measures[1:])
        for turn in range(1, section.passes + 1):
            for index, measure in enumerate(section.measures):
                if measure.endings and turn not in measure.endings:
                    continue
                if len(order) >= MOST_BARS:
                    raise failure(
                        f"the repeats play out to more than {MOST_BARS} bars",
                        "take repeats out of the score, or read it without them",
                        place=measure.place,
                    )
                again = turn > 1 and index == 0 and one_line
                order.append(replace(measure, begins_line=False, heading="") if again else measure)
                if measure.closes and turn < section.passes:
                    break
    return order


def read_once(measures: Sequence[Measure]) -> list[Measure]:
    """Return the measures once each, without their repeat signs and endings."""
    return [replace(m, opens=False, closes=0, endings=()) for m in measures]


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


def _pitch_remarks(reading: ChanterPitches, pitches: frozenset[Pitch]) -> Iterator[str]:
    if reading.shift:
        way = "up" if reading.shift > 0 else "down"
        count = abs(reading.shift)
        unit = "semitone" if count == 1 else "semitones"
        yield f"Transposed {way} {count} {unit} to lie on the chanter's notes."
    if reading.naturals_sound_sharp and any(p.step in ("C", "F") for p in pitches):
        yield (
            "The score has no key signature and no sharps: its C and F are read as the chanter's, "
            "which sound C sharp and F sharp."
        )


def beat_at(offset: Fraction, meter: Meter | None) -> str:
    """Return the beat, from 1, that lies so far into a bar (a share of a whole note): `2 1/2`."""
    beat = QUARTER if meter is None else meter.beat_value
    whole, rest = divmod(offset / beat + 1, 1)
    return f"{whole} {rest}" if rest else f"{whole}"


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


def _bar_meter(measure: Measure) -> Meter:
    """The written meter; a bar that is longer, or in free meter, is counted by its own length."""
    meter = measure.meter
    if meter is None:
        return Meter(max(1, -(-measure.length // QUARTER)), 4)
    if measure.length > Fraction(meter.count, meter.unit):
        return Meter(max(1, -(-measure.length // Fraction(1, meter.unit))), meter.unit)
    return meter


class _Joiner:
    """Lays written notes into bars: joins ties within a bar, and holds or keeps rests."""

    def __init__(self, reading: ChanterPitches, rests: Rests) -> None:
        self._reading = reading
        self._rests = rests
        self._before: Note | None = None
        self.leading_rest = False

    def begin_line(self) -> None:
        """Forget what sounded before: nothing is tied into a line."""
        self._before = None

    def bar(self, measure: Measure, tempo: Fraction | None) -> Bar:
        """Return the measure as a bar; its pitches must lie on the chanter."""
        meter = _bar_meter(measure)
        items: list[Item] = []
        for written in measure.notes:
            beats = written.length / meter.beat_value
            if written.pitch is None:
                self._rest(items, beats)
            else:
                self._note(items, beats, written, self._chanter_note(written.pitch))
        return Bar(tuple(items), meter, tempo)

    def _chanter_note(self, pitch: Pitch) -> Note:
        note = self._reading.note(pitch)
        assert note is not None, "checked before"
        return note

    def _rest(self, items: list[Item], beats: Fraction) -> None:
        if self._rests == "hold" and self._before is not None:
            self._hold(items, beats, self._before)
            return
        self.leading_rest |= self._rests == "hold"
        if items and isinstance(items[-1], Rest):
            items[-1] = Rest(items[-1].beats + beats)
        else:
            items.append(Rest(beats))
        self._before = None

    def _hold(self, items: list[Item], beats: Fraction, note: Note) -> None:
        last = items[-1] if items else None
        if isinstance(last, MelodyNote):
            items[-1] = replace(last, beats=last.beats + beats)
        else:
            items.append(MelodyNote(beats, (Slot(note),), tied=True))

    def _note(self, items: list[Item], beats: Fraction, written: Written, note: Note) -> None:
        if written.tied and not written.gracenotes and note == self._before:
            self._hold(items, beats, note)
            return
        group = [self._chanter_note(pitch) for pitch in written.gracenotes]
        items.append(MelodyNote(beats, slots_of_group(note, group)))
        self._before = note


def bars_of(
    measures: Sequence[Measure], reading: ChanterPitches, rests: Rests = "silence"
) -> tuple[Bar, ...]:
    """Return measures in playing order as the bars of one line; empty measures fall away.

    A beat lasts the same in every meter, but for tempo marks.
    """
    joiner = _Joiner(reading, rests)
    return tuple(joiner.bar(m, _tempo_of(m)) for m in measures if m.notes)


def _tempo_of(measure: Measure) -> Fraction | None:
    """The measure's tempo mark in beats per minute of its meter."""
    if measure.tempo is None:
        return None
    tempo = measure.tempo * QUARTER / _bar_meter(measure).beat_value
    _check_tempo(tempo, measure.place)
    return tempo


def _check_size(measures: Sequence[Measure]) -> None:
    count = sum(
        len(measure.notes) + sum(len(n.gracenotes) for n in measure.notes) for measure in measures
    )
    if count > MOST_WRITTEN_NOTES:
        raise failure(
            f"the score has {count} notes with its repeats played out",
            f"divide it; at most {MOST_WRITTEN_NOTES} are read",
        )
    if not any(note.pitch is not None for measure in measures for note in measure.notes):
        raise failure("there are no notes in it", "choose a part or file with a melody")


def _check_tempo(tempo: Fraction, place: str) -> None:
    if not SLOWEST_TEMPO <= tempo <= FASTEST_TEMPO:
        raise failure(
            f"a tempo of {float(tempo):g} beats a minute is out of range",
            f"write one from {SLOWEST_TEMPO} to {FASTEST_TEMPO}",
            place=place,
        )


@dataclass(frozen=True, slots=True)
class Score:
    """A melody as a file writes it, with what belongs to the whole.

    Parameters
    ----------
    title:
        May be empty.
    measures:
        With repeats still as signs.
    keyless:
        Whether it has no key signature at all.
    source:
        The file, for messages.
    remarks:
        What was left out, in sentences.
    order:
        The runs of measures in the order in which they are played, where parts are repeated by
        name; empty for as they stand.
    """

    title: str
    measures: tuple[Measure, ...]
    keyless: bool
    source: str
    remarks: tuple[str, ...] = ()
    order: tuple[range, ...] = ()

    def in_playing_order(self) -> list[Measure]:
        """Return the measures with their parts in playing order, repeats still as signs."""
        if not self.order:
            return list(self.measures)
        if sum(map(len, self.order)) > MOST_BARS:
            raise failure(
                f"its parts play out to more than {MOST_BARS} bars",
                "shorten the order of its parts, or read it without repeats",
            )
        return [
            # A repeat goes back to the beginning of its own part at most.
            replace(self.measures[at], opens=self.measures[at].opens or at == part.start)
            for part in self.order
            for at in part
        ]


def lies_on_the_chanter(score: Score, transpose: Transposition) -> bool:
    """Whether the score has notes and all of them lie on the nine, transposed as asked."""
    pitches = _pitches(score.measures)
    reading = chanter_pitches(score.measures, transpose, keyless=score.keyless)
    return bool(pitches) and reading.fits(pitches)


def exercise_of(score: Score, reading: Reading = AS_WRITTEN) -> Exercise:
    """Turn a score into an exercise.

    Parameters
    ----------
    score:
        As a file writes it.
    reading:
        What the user asks.

    Returns
    -------
    The exercise, gracenote groups read by `slots_of_group`; its `remarks` say what was decided.

    Raises
    ------
    RungwiseError
        With every note that is not on the chanter; for a score without notes or beyond limits.
    """
    try:
        return _exercise_of(score, reading)
    except RungwiseError as error:
        raise error.in_file(score.source) from None


def _printable(text: str) -> str:
    """A title or heading on one line, without control characters and no longer than a title."""
    text = without_controls(text[: 10 * LONGEST_TITLE])
    line = "".join(" " if mark.isspace() else mark for mark in text).strip()
    return line if len(line) <= LONGEST_TITLE else f"{line[: LONGEST_TITLE - 1]}…"


def without_controls(text: str) -> str:
    """Return a text without characters that no page shows; spaces and line breaks stay."""
    return "".join(c for c in text if c.isspace() or unicodedata.category(c) not in ("Cc", "Cs"))


def _exercise_of(score: Score, reading: Reading) -> Exercise:
    measures = (
        played_out(score.in_playing_order()) if reading.play_repeats else read_once(score.measures)
    )
    _check_size(measures)
    pitches = chanter_pitches(measures, reading.transpose, keyless=score.keyless)
    # Reported from the score as it stands, so that no note is named once for each repeat.
    wrong = off_the_chanter(score.measures, pitches, keyless=score.keyless, option="--transpose")
    if wrong:
        raise RungwiseError(wrong)
    remarks = [*score.remarks, *_pitch_remarks(pitches, _pitches(measures))]

    joiner = _Joiner(pitches, reading.rests)
    lines: list[tuple[str, list[Bar]]] = []
    quarter_tempo: Fraction | None = None
    first_tempo: Fraction | None = None
    tempo = USUAL_TEMPO
    begins, heading = True, ""
    for measure in measures:
        begins |= measure.begins_line
        heading = measure.heading if measure.begins_line else heading or measure.heading
        quarter_tempo = measure.tempo or quarter_tempo
        if not measure.notes:
            continue
        meter = _bar_meter(measure)
        if measure.meter is not None and meter != measure.meter:
            remarks.append(
                f"{measure.place[:1].upper()}{measure.place[1:]} is longer than {measure.meter}; "
                f"it is counted as {meter}."
            )
        if quarter_tempo is None:
            remarks.append("The score has no tempo mark: 60 beats a minute are taken.")
            quarter_tempo = USUAL_TEMPO * meter.beat_value / QUARTER
        here = quarter_tempo * QUARTER / meter.beat_value
        _check_tempo(here, measure.place)
        if first_tempo is None:
            first_tempo = tempo = here
        mark = here if here != tempo else None
        tempo = here
        if begins:
            joiner.begin_line()
            lines.append((_printable(heading), []))
            begins, heading = False, ""
        lines[-1][1].append(joiner.bar(measure, mark))
    if joiner.leading_rest:
        remarks.append("A rest with no note before it in its line stays a rest.")
    if len(lines) > MOST_LINES:
        raise failure(f"the score has {len(lines)} lines", f"divide it; at most {MOST_LINES}")
    return Exercise(
        title=_printable(score.title) or "Untitled",
        lines=tuple(Line(tuple(bars), heading) for heading, bars in lines),
        tempo=first_tempo or USUAL_TEMPO,
        remarks=tuple(dict.fromkeys(remarks)),
        source=score.source,
    )
