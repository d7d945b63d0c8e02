"""An exercise as written music: immutable values in musical time.

Lengths are `Fraction`s of a beat, the beat being that of the bar's meter (a dotted note in
compound meters). An ornament is a short written melody: each `Slot` is an optional gracenote
followed by a note, and the last slot of a `MelodyNote` is the melody note itself. A plain note
therefore has one slot without a gracenote, a note with a single gracenote one slot with it, and a
doubling on B two: `{g}B {d}B`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Literal

from renderer.notation.length import Length
from renderer.notation.pitch import Note
from renderer.notation.playing import BOOK, USUAL_PLAYING, Beat, Inner, Playing
from renderer.notation.signs import NO_SIGNS, Signs

Placement = Literal["on the beat", "before the beat"]

USUAL_GRACENOTE = Length(Fraction(45), "ms")
"""The middle of 30 to 60 ms (from memory)."""


@dataclass(frozen=True, slots=True)
class Slot:
    """A note of an ornament, led by a gracenote or by none."""

    note: Note
    gracenote: Note | None = None

    @property
    def abc(self) -> str:
        """The slot in ABC letters, such as `{g}B`."""
        return (f"{{{self.gracenote.abc}}}" if self.gracenote is not None else "") + self.note.abc


@dataclass(frozen=True, slots=True)
class MelodyNote:
    """A melody note with the ornament that leads into it.

    Parameters
    ----------
    beats:
        Written length in beats of the bar's meter, ornament included; above 0.
    slots:
        The ornament's slots in order; the last is the melody note itself.
    ornament:
        The movement's name in the ornament book where it is known, else None.
    tied:
        Whether this note goes on sounding from the note before it (a tie); such a note has one
        slot, no gracenote and the pitch of the note before it.
    playing:
        How its movement is played where the exercise does not say: the ornament book's word, which
        goes with the name.
    """

    beats: Fraction
    slots: tuple[Slot, ...]
    ornament: str | None = None
    tied: bool = False
    playing: Playing = field(default=USUAL_PLAYING, compare=False)

    @property
    def note(self) -> Note:
        """The melody note's pitch."""
        return self.slots[-1].note

    @property
    def group(self) -> tuple[Note, ...]:
        """The notes that lead into the melody note, as a closed gracenote group is printed."""
        flat = [note for slot in self.slots for note in (slot.gracenote, slot.note)]
        return tuple(note for note in flat[:-1] if note is not None)


@dataclass(frozen=True, slots=True)
class Rest:
    """A silence of the chanter, `beats` long."""

    beats: Fraction


Item = MelodyNote | Rest


@dataclass(frozen=True, slots=True)
class Meter:
    """A meter as written, such as 3/4 or 6/8.

    A compound meter (6, 9, 12, 15 ... over 8 or 16) has a dotted beat: 6/8 has two beats.
    """

    count: int
    unit: int

    @property
    def is_compound(self) -> bool:
        """Whether three written units make one beat."""
        return self.unit >= 8 and self.count > 3 and self.count % 3 == 0

    @property
    def beats(self) -> int:
        """How many beats a whole bar has."""
        return self.count // 3 if self.is_compound else self.count

    @property
    def length(self) -> Fraction:
        """A whole bar as a share of a whole note."""
        return Fraction(self.count, self.unit)

    @property
    def beat_value(self) -> Fraction:
        """The beat as a share of a whole note: 1/4 in 3/4 time, 3/8 in 6/8."""
        return Fraction(3 if self.is_compound else 1, self.unit)

    def __str__(self) -> str:
        return f"{self.count}/{self.unit}"


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar.

    Parameters
    ----------
    items:
        Melody notes and rests in order.
    meter:
        The meter that the bar is written in. The items may fill less than it asks for (a pickup,
        or the bar before a repeat sign).
    tempo:
        A tempo mark at the start of the bar in beats per minute, else None. The rungs of a ladder
        scale it in proportion to the exercise's tempo. It holds for the bars that follow as
        written, whatever the order in which they are played.
    signs:
        Repeats, endings and jumps at its bar lines and over it.
    words:
        What is written over it.
    number:
        The score's own; empty where bars are counted (see `bar_numbers`).
    begins_row:
        Whether the score begins a new row of staves with it: a matter of print alone.
    """

    items: tuple[Item, ...]
    meter: Meter
    tempo: Fraction | None = None
    signs: Signs = NO_SIGNS
    words: tuple[str, ...] = ()
    number: str = ""
    begins_row: bool = field(default=False, compare=False)

    @property
    def beats(self) -> Fraction:
        """How many beats the items fill."""
        return sum((item.beats for item in self.items), Fraction(0))


@dataclass(frozen=True, slots=True)
class Line:
    """One line of an exercise, or part of a tune: its name and its bars.

    It ends with a double bar line, or with the repeat sign of its last bar.

    Parameters
    ----------
    bars:
        The bars in order as written, repeats as signs.
    heading:
        Its name, printed above it and used as a marker; may be empty.
    inner, beat, gracenote:
        How long inner notes and gracenotes last in this line and which slot of a movement is on the
        beat, where that differs from the exercise's.
    tune:
        The name of the tune that begins with this line, where the exercise is a medley.
    placement:
        From which side of the beat its gracenotes take their time, where that differs.
    bars_before:
        How many of its bars come before the first of these, where they are a part of it; -1 where
        the last bar of the line before comes first.
    """

    bars: tuple[Bar, ...]
    heading: str = ""
    inner: Inner | None = None
    beat: Beat | None = None
    gracenote: Length | None = None
    tune: str = ""
    placement: Placement | None = None
    bars_before: int = 0

    @property
    def melody_notes(self) -> Iterator[MelodyNote]:
        """The melody notes in order, rests left out."""
        return (i for bar in self.bars for i in bar.items if isinstance(i, MelodyNote))

    @property
    def beats(self) -> Fraction:
        """How many beats the line fills."""
        return sum((bar.beats for bar in self.bars), Fraction(0))


@dataclass(frozen=True, slots=True)
class Gracenotes:
    """How gracenotes are played: how long, and from which side of the beat they take their time.

    A length in ms is that of a gracenote; a share of the beat opens gracenotes out as notes.
    """

    length: Length = USUAL_GRACENOTE
    placement: Placement = "on the beat"


USUAL_GRACENOTES = Gracenotes()


MOST_PIECES = 16
"""Of a bar that repeat signs or changes of tempo divide."""


def _pieces_of_a_bar(bars: Sequence[Bar]) -> int:
    """How many of the bars make up one whole bar of the first one's meter; 1 where none do."""
    meter, filled = bars[0].meter, Fraction(0)
    for count, bar in enumerate(bars, start=1):
        filled += bar.beats
        if bar.meter != meter or filled > meter.beats:
            break
        if filled == meter.beats:
            return count
    return 1


def bar_offsets(bars: Sequence[Bar]) -> list[Fraction]:
    """Return where in its meter each bar of a line begins, in beats: 0 for whole bars.

    A short first bar of several is a pickup and ends with its meter's bar. Short bars in a row that
    fill a bar of their meter together go on where the one before them has ended, as when a repeat
    is played out that begins with a pickup, or where the tempo changes inside a bar.
    """
    offsets = [Fraction(0)] * len(bars)
    if len(bars) < 2:
        return offsets
    begin = 0
    is_piece = bars[1].tempo is not None and _pieces_of_a_bar(bars[:MOST_PIECES]) > 1
    if bars[0].beats < bars[0].meter.beats and not is_piece:
        offsets[0] = bars[0].meter.beats - bars[0].beats
        begin = 1
    while begin < len(bars):
        if bars[begin].beats == bars[begin].meter.beats:
            begin += 1
            continue
        pieces = _pieces_of_a_bar(bars[begin : begin + MOST_PIECES])
        at = Fraction(0)
        for index in range(begin, begin + pieces):
            offsets[index] = at
            at += bars[index].beats
        begin += pieces
    return offsets


PICKUP = "0"
"""The number that a pickup is known by, in scores and here (common practice)."""


def bar_numbers(line: Line) -> tuple[str, ...]:
    """Return the numbers by which the bars of a line are known, on sheets and in messages.

    A score's own go first. Else whole bars are counted from the beginning of the line, a pickup is
    0, and the pieces of a bar that repeats or changes of tempo divide have one number (common
    practice).
    """
    count = line.bars_before
    numbers = []
    for bar, offset in zip(line.bars, bar_offsets(line.bars), strict=True):
        count += not offset
        numbers.append(bar.number or str(count))
    return tuple(numbers)


def goes_on_at_another_tempo(bars: Sequence[Bar]) -> list[bool]:
    """Return of each bar whether the next one is a piece of the same bar at a tempo of its own."""
    following = zip(bar_offsets(bars)[1:], bars[1:], strict=True)
    return [*(offset > 0 and bar.tempo is not None for offset, bar in following), False]


def goes_on_in_an_ending(bars: Sequence[Bar]) -> list[bool]:
    """Return of each bar whether an ending begins with the next one inside the same bar."""
    following = zip(bar_offsets(bars)[1:], bars, bars[1:], strict=False)
    return [
        *(
            offset > 0
            and bool(after.signs.endings)
            and after.signs.endings != before.signs.endings
            and not (before.signs.closes or before.signs.double or after.signs.opens)
            for offset, before, after in following
        ),
        False,
    ]


@dataclass(frozen=True, slots=True)
class Ladder:
    """The tempos to practise at, as written.

    Parameters
    ----------
    tempos:
        The rungs in practice order: beats per minute, or per cent of the exercise's tempo.
    percent:
        Whether the rungs are per cent of the exercise's tempo.
    repeats:
        How often each line is played on each rung.
    inner:
        How long inner notes last one after the other, where movements go from opened to closed
        within a track; empty where they do not.
    """

    tempos: tuple[Fraction, ...]
    percent: bool = False
    repeats: int = 1
    inner: tuple[Inner, ...] = ()


@dataclass(frozen=True, slots=True)
class Exercise:
    """An exercise, ready to be expanded, engraved or written in another form.

    Parameters
    ----------
    title:
        Never empty.
    lines:
        At least one.
    tempo:
        The target tempo in beats per minute.
    gracenotes, inner, beat:
        How ornaments are played: their gracenotes, the length of their inner notes, and which slot
        falls on the beat (None: as the ornament book says of closed movements, the first of opened
        ones).
    ladder:
        The rungs, where the exercise names them.
    audience:
        The class or band that it is for; may be empty.
    purpose, level:
        A sentence on what it trains, and the level it is meant for; may be empty.
    composer, tune_type, origin, notes:
        Of a tune: who made it, what it is (march, reel), where it comes from, and what is to be
        said of it (several lines of text); may be empty.
    own_movements:
        What it adds to the ornament book or changes of it, as a definition's `[ornament-book]`
        table in JSON, its keys in order; empty for nothing.
    own_chanter:
        The chanter that it is for, as a definition's `[chanter]` table in JSON, its keys in order;
        empty for any.
    order:
        The numbers of the lines in the order in which they are played, from 1; empty for each once
        as they stand.
    remarks:
        What the reader had to decide and the user should know, in sentences.
    source:
        The file it was read from, for messages; empty if none.
    first_number:
        The number of the first line: above 1 where the exercise is some lines of a longer one.
    numbers:
        The number of every line, where they do not follow each other: lines as they are played.
    played_once:
        Whether it was asked to be played without repeats and jumps, and of endings the last.
    knows_movements:
        Whether a file said which of its notes are an opened ornament, or that none are.
    """

    title: str
    lines: tuple[Line, ...]
    tempo: Fraction = Fraction(60)
    gracenotes: Gracenotes = USUAL_GRACENOTES
    inner: Inner = BOOK
    beat: Beat | None = None
    ladder: Ladder | None = None
    audience: str = ""
    purpose: str = ""
    level: str = ""
    composer: str = ""
    tune_type: str = ""
    origin: str = ""
    notes: str = ""
    own_movements: str = ""
    own_chanter: str = ""
    order: tuple[int, ...] = ()
    remarks: tuple[str, ...] = ()
    source: str = ""
    whole_title: str = field(default="", compare=False)
    first_number: int = 1
    numbers: tuple[int, ...] = ()
    played_once: bool = field(default=False, compare=False)
    knows_movements: bool = field(default=False, compare=False)

    def number_of(self, line_index: int) -> int:
        """The number by which a line (its index from 0) is known to the reader of the whole."""
        return self.numbers[line_index] if self.numbers else self.first_number + line_index

    def id_number(self, line_index: int) -> int:
        """The number by which note ids name a line (its index from 0): the one in the whole.

        So a line taken alone keeps its ids. Lines in the order in which they are played, where one
        can come twice, are counted as they stand.
        """
        comes_twice = len(set(self.numbers)) < len(self.numbers)
        return line_index + 1 if comes_twice else self.number_of(line_index)

    def bar_number(self, line_index: int, bar_index: int) -> str:
        """The number by which a bar (its and its line's index from 0) is known."""
        return bar_numbers(self.lines[line_index])[bar_index]

    def only(self, number: int) -> Exercise:
        """Return the exercise with one of its lines (from 1) alone, under the number it has.

        The line keeps the tempo that marks in the lines before it have set.
        """
        line = self.lines[number - 1]
        marks = [bar.tempo for before in self.lines[: number - 1] for bar in before.bars]
        tempo = next((mark for mark in reversed(marks) if mark is not None), None)
        first, *rest = line.bars
        if first.tempo is None and tempo is not None:
            line = replace(line, bars=(replace(first, tempo=tempo), *rest))
        return replace(
            self,
            title=f"{self.title}, line {self.number_of(number - 1)}",
            whole_title=self.title,
            lines=(line,),
            first_number=self.number_of(number - 1),
            numbers=(),
            order=(),
        )

    def inner_of(self, line: Line) -> Inner:
        """What holds for the inner notes of `line`."""
        return self.inner if line.inner is None else line.inner

    def beat_of(self, line: Line) -> Beat | None:
        """The slot on the beat in `line`, None where each movement's own holds."""
        return self.beat if line.beat is None else line.beat

    def gracenote_of(self, line: Line) -> Length:
        """How long a gracenote lasts in `line`."""
        return self.gracenotes.length if line.gracenote is None else line.gracenote

    def placement_of(self, line: Line) -> Placement:
        """From which side of the beat gracenotes in `line` take their time."""
        return self.gracenotes.placement if line.placement is None else line.placement

    def __iter__(self) -> Iterator[Line]:
        return iter(self.lines)


def note_id(line: int, bar: int, item: int, slot: int, *, gracenote: bool = False) -> str:
    """Return the name by which an event, a score and a sheet mean the same written note.

    All counts are 1-based: the line's as `Exercise.id_number` has it, the bar in the line, the item
    in the bar, the slot in the melody note. The name is a valid XML id.
    """
    return f"L{line}-B{bar}-N{item}-{'G' if gracenote else 'S'}{slot}"
