"""From an exercise to engraved bars: Verovio's drawing, taken apart into pieces by note.

Verovio gets the MusicXML of the exercise and draws it without justification; this module takes that
drawing apart, so that `spacing` can put the bars of all lines under each other. Gracenotes get the
look of pipe music on the way: all stems and beams of a staff end at one height, clear of the staff,
whatever note they stand on (common practice).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from xml.etree import ElementTree

from renderer.delivery.sheet.fonts import printable
from renderer.delivery.sheet.layout import UNITS_A_SPACE
from renderer.delivery.sheet.pieces import (
    MUSIC_FONT,
    Box,
    Dot,
    Glyph,
    Piece,
    Polygon,
    Stroke,
    union,
)
from renderer.errors import failure
from renderer.notation.musicxml.writer import write_musicxml
from renderer.notation.note_values import values_of_bar
from renderer.notation.printed import Opened, PrintedLine, printed_line
from renderer.notation.score import (
    Bar,
    Exercise,
    Meter,
    bar_numbers,
    bar_offsets,
    goes_on_at_another_tempo,
    goes_on_in_an_ending,
)
from renderer.notation.signs import NO_SIGNS, Signs

Element = ElementTree.Element

GRACE_TOP = -640
"""Where gracenotes' stems end: above a high A on its ledger line there is room for three beams."""

STAFF_HEIGHT = 4 * UNITS_A_SPACE
STAFF_LINE = 15.0
GRACE_STEM = 15.0
_BEAM_INSET = 18.0
"""How far inside the outer beam a stem ends, so that no corner shows."""

_OPTIONS = {
    "adjustPageHeight": True,
    "beamMaxSlope": 0,
    "breaks": "encoded",
    "font": MUSIC_FONT,
    "footer": "none",
    "header": "none",
    "mnumInterval": 1_000_000,
    "noJustification": True,
    "pageHeight": 60_000,
    "pageMarginBottom": 0,
    "pageMarginLeft": 0,
    "pageMarginRight": 0,
    "pageMarginTop": 0,
    "pageWidth": 2_100,
    "svgRemoveXlink": True,
    "xmlIdSeed": 1,
}


@dataclass(frozen=True, slots=True)
class Column:
    """A note or rest at full size with the gracenotes before it: what moves as one.

    Parameters
    ----------
    id:
        The written note's name.
    start, length:
        Its place in the bar and its length, as shares of a whole note.
    anchor:
        The left edge of its notehead.
    note:
        Its pieces at full size.
    gracenotes:
        The pieces of each gracenote, with its name.
    grace_beams:
        The beams of the gracenote group.
    is_rest, fills_bar:
        Whether it is a rest, and a rest that stands in the middle of an empty bar.
    tie, tie_before:
        Whether a tie leads on to the next note, and whether one leads here, with the side that it
        bulges to; 0 for none.
    """

    id: str
    start: Fraction
    length: Fraction
    anchor: float
    note: tuple[Piece, ...]
    gracenotes: tuple[tuple[str, tuple[Piece, ...]], ...] = ()
    grace_beams: tuple[Polygon, ...] = ()
    is_rest: bool = False
    fills_bar: bool = False
    tie: int = 0
    tie_before: int = 0

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """All of its pieces."""
        graces = tuple(piece for _, pieces in self.gracenotes for piece in pieces)
        return (*graces, *self.grace_beams, *self.note)

    @property
    def box(self) -> Box:
        """Its extent."""
        return union([piece.box for piece in self.pieces])

    @property
    def head(self) -> Glyph:
        """The notehead or the rest's glyph."""
        return next(piece for piece in self.note if isinstance(piece, Glyph))

    def place_of(self, name: str) -> float | None:
        """The middle of the notehead of the note or gracenote called `name`, if it is here."""
        for owner, pieces in ((self.id, self.note), *self.gracenotes):
            if owner == name:
                box = next(piece for piece in pieces if isinstance(piece, Glyph)).box
                return (box.left + box.right) / 2
        return None


@dataclass(frozen=True, slots=True)
class Tuplet:
    """The number of a tuplet and its bracket, if it has one, in two parts.

    `first` and `last` are the indexes of its columns.
    """

    first: int
    last: int
    number: tuple[Glyph, ...]
    bracket: tuple[Polygon, ...]

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """All of its pieces."""
        return (*self.number, *self.bracket)


@dataclass(frozen=True, slots=True)
class EngravedBar:
    """A bar's pieces.

    Parameters
    ----------
    columns:
        Its notes and rests in order.
    beams:
        The beams between notes at full size: each group's polygons.
    tuplets:
        Their numbers and brackets.
    meter:
        The glyphs of a time signature, if the bar shows one; x from the left edge of the widest.
    length:
        The sum of its notes, as a share of a whole note.
    ends_line, ends_exercise:
        Whether a double or a final bar line ends it.
    goes_on:
        Whether it is a piece of a bar that goes on in the next one, at another tempo.
    goes_on_in_an_ending:
        Whether it is a piece of a bar in which an ending begins: no bar line stands there.
    signs, words:
        As those of the written bar; words in letters that can be printed.
    number, has_own_number:
        The number that the bar is known by, empty for one that holds what opened movements have
        before the line's first beat, and whether the score says it.
    beat_value, offset:
        The length of a beat, and how much of the meter's bar is over where the bar begins, as
        shares of a whole note.
    begins_tempo:
        Whether a tempo begins with it.
    begins_row:
        Whether the source begins a new row of staves with it.
    begins_ending, ends_ending, closes_ending:
        Whether the bracket of an ending begins and ends with it, and is closed at its end.
    """

    columns: tuple[Column, ...]
    beams: tuple[tuple[Polygon, ...], ...]
    tuplets: tuple[Tuplet, ...]
    meter: tuple[Glyph, ...]
    length: Fraction
    ends_line: bool = False
    ends_exercise: bool = False
    goes_on: bool = False
    goes_on_in_an_ending: bool = False
    signs: Signs = NO_SIGNS
    words: tuple[str, ...] = ()
    number: str = ""
    has_own_number: bool = False
    beat_value: Fraction = Fraction(1, 4)
    offset: Fraction = Fraction(0)
    begins_tempo: bool = False
    begins_row: bool = False
    begins_ending: bool = False
    ends_ending: bool = False
    closes_ending: bool = False

    @property
    def meter_width(self) -> float:
        """How much room the time signature needs; 0 without one."""
        return union([glyph.box for glyph in self.meter]).right if self.meter else 0.0


@dataclass(frozen=True, slots=True)
class EngravedLine:
    """A line's bars, and the clef that begins each of its systems.

    `bars_before` is 1 where a bar holds what opened movements have before the line's first beat.
    """

    bars: tuple[EngravedBar, ...]
    clef: Glyph
    bars_before: int = 0


@dataclass(slots=True)
class Engraving:
    """Engraved lines and the music font's glyphs that they are drawn with, by code point."""

    lines: tuple[EngravedLine, ...]
    symbols: dict[str, str] = field(default_factory=dict)


def _class(element: Element) -> str:
    return element.get("class", "").split(" ")[0]


def _numbers(text: str) -> list[float]:
    return [float(number) for number in re.findall(r"-?\d+(?:\.\d+)?", text)]


class _Bar:
    """Takes one measure of the drawing apart."""

    def __init__(self, measure: Element, small: set[str], printed: dict[str, _Timed]) -> None:
        self.small, self.printed = small, printed
        staff = next(child for child in measure if _class(child) == "staff")
        self.top = _numbers(staff[0].get("d", ""))[1]
        self.columns: list[Column] = []
        self.beams: list[tuple[Polygon, ...]] = []
        self.tuplets: list[Tuplet] = []
        self.meter: tuple[Glyph, ...] = ()
        self.clef: Glyph | None = None
        self._graces: list[tuple[str, tuple[Piece, ...]]] = []
        self._grace_beams: list[Polygon] = []
        ledgers: list[Piece] = []
        for child in staff:
            kind = _class(child)
            if kind == "clef":
                self.clef = self._pieces_of(child)[0]  # type: ignore[assignment]
            elif kind == "meterSig" and not self.columns:  # none that foretells the next system
                self.meter = tuple(p for p in self._pieces_of(child) if isinstance(p, Glyph))
            elif kind == "ledgerLines":
                ledgers += self._pieces_of(child)
            elif kind == "layer":
                self._walk(child)
        for ledger in ledgers:
            self._give_ledger(ledger)

    def _glyph(self, element: Element) -> Glyph:
        x, y, scale = _numbers(element.get("transform", ""))[:3]
        code = element.get("href", "")[1:].split("-")[0]
        return Glyph(code, x, y - self.top, scale)

    def _pieces_of(self, element: Element) -> list[Piece]:
        pieces: list[Piece] = []
        for part in element.iter():
            if part.tag == "use":
                pieces.append(self._glyph(part))
            elif part.tag == "path":
                x1, y1, x2, y2 = _numbers(part.get("d", ""))[:4]
                width = float(part.get("stroke-width", "18"))
                pieces.append(Stroke(x1, y1 - self.top, x2, y2 - self.top, width))
            elif part.tag == "ellipse":
                x, y, radius = (float(part.get(name, "0")) for name in ("cx", "cy", "rx"))
                pieces.append(Dot(x, y - self.top, radius))
            elif part.tag in ("polygon", "polyline"):
                pieces.append(self._polygon(part))
        return pieces

    def _polygon(self, element: Element) -> Polygon:
        flat = _numbers(element.get("points", ""))
        points = zip(flat[::2], [y - self.top for y in flat[1::2]], strict=True)
        if element.tag == "polyline":
            return Polygon(tuple(points), float(element.get("stroke-width", "18")), is_open=True)
        return Polygon(tuple(points))

    def _walk(self, element: Element) -> None:
        for child in element:
            kind, name = _class(child), child.get("id", "")
            if kind == "note" and name in self.small:
                self._graces.append((name, _grace_look(self._pieces_of(child))))
            elif kind in ("note", "rest", "mRest"):
                self._column(name, tuple(self._pieces_of(child)), kind)
            elif kind == "beam":
                self._beam(child)
            elif kind == "tuplet":
                self._tuplet(child)
            elif kind == "graceGrp":
                self._walk(child)

    def _tuplet(self, element: Element) -> None:
        first = len(self.columns)
        self._walk(element)
        pieces = [
            piece
            for child in element
            if _class(child) in ("tupletNum", "tupletBracket")
            for piece in self._pieces_of(child)
        ]
        number = tuple(piece for piece in pieces if isinstance(piece, Glyph))
        bracket = tuple(piece for piece in pieces if isinstance(piece, Polygon))
        if pieces:
            self.tuplets.append(Tuplet(first, len(self.columns) - 1, number, bracket))

    def _beam(self, element: Element) -> None:
        polygons = [self._polygon(child) for child in element if child.tag == "polygon"]
        inside = {note.get("id", "") for note in element.iter() if _class(note) == "note"}
        if inside <= self.small:
            lower = GRACE_TOP - min(polygon.box.top for polygon in polygons)
            self._grace_beams += [polygon.lowered(lower) for polygon in polygons]
        else:
            self.beams.append(tuple(polygons))
        self._walk(element)

    def _column(self, name: str, pieces: tuple[Piece, ...], kind: str) -> None:
        timed = self.printed[name]
        head = next(piece for piece in pieces if isinstance(piece, Glyph))
        self.columns.append(
            Column(
                id=name,
                start=timed.start,
                length=timed.length,
                anchor=head.box.left,
                note=pieces,
                gracenotes=tuple(self._graces),
                grace_beams=tuple(self._grace_beams),
                is_rest=kind != "note",
                fills_bar=kind == "mRest",
                tie=timed.tied_on,
                tie_before=timed.tied_before,
            )
        )
        self._graces, self._grace_beams = [], []

    def _give_ledger(self, ledger: Piece) -> None:
        """Give a ledger line to the note or gracenote whose head it runs through."""
        middle = (ledger.box.left + ledger.box.right) / 2
        best: tuple[float, int, int] | None = None
        for index, column in enumerate(self.columns):
            owners = [column.note, *(pieces for _, pieces in column.gracenotes)]
            for number, pieces in enumerate(owners):
                box = next(piece for piece in pieces if isinstance(piece, Glyph)).box
                found = (abs((box.left + box.right) / 2 - middle), index, number)
                best = min(best or found, found)
        if best is None:
            return
        _, index, number = best
        column = self.columns[index]
        if number == 0:
            self.columns[index] = replace(column, note=(*column.note, ledger))
        else:
            graces = list(column.gracenotes)
            name, pieces = graces[number - 1]
            graces[number - 1] = (name, (*pieces, ledger))
            self.columns[index] = replace(column, gracenotes=tuple(graces))

    def engraved(self) -> EngravedBar:
        meter: tuple[Glyph, ...] = ()
        if self.meter:
            left = min(glyph.box.left for glyph in self.meter)
            meter = tuple(replace(glyph, x=glyph.x - left) for glyph in self.meter)
        length = max((c.start + c.length for c in self.columns), default=Fraction(1))
        return EngravedBar(
            tuple(self.columns), tuple(self.beams), tuple(self.tuplets), meter, length
        )


def _grace_look(pieces: list[Piece]) -> tuple[Piece, ...]:
    """Let a gracenote's stem reach up to the common height, its flag with it."""
    has_flag = sum(isinstance(piece, Glyph) for piece in pieces) > 1
    stem_top = GRACE_TOP if has_flag else GRACE_TOP + _BEAM_INSET
    result: list[Piece] = []
    for number, piece in enumerate(pieces):
        if isinstance(piece, Stroke):
            bottom = max(piece.y1, piece.y2)
            result.append(Stroke(piece.x1, bottom, piece.x2, stem_top, GRACE_STEM))
        elif isinstance(piece, Glyph) and number:
            result.append(replace(piece, y=GRACE_TOP))
        else:
            result.append(piece)
    return tuple(result)


@dataclass(frozen=True, slots=True)
class _Timed:
    """When a printed note begins in its bar, how long it is, and the sides of its ties."""

    start: Fraction
    length: Fraction
    tied_on: int
    tied_before: int


def _timed_notes(line: PrintedLine) -> Iterator[tuple[set[str], dict[str, _Timed]]]:
    """Yield, for each bar of a line, the names of its small notes and its notes' times."""
    before = 0
    for bar, notes in zip(line.bars, line.notes, strict=True):
        rows = values_of_bar([note.length for note in notes], bar.meter.beat_value)
        small = {grace.id for note in notes for grace in note.group}
        timed: dict[str, _Timed] = {}
        at = Fraction(0)
        for note, row in zip(notes, rows, strict=True):
            for index, value in enumerate(row):
                name = note.id if index == 0 else f"{note.id}-T{index + 1}"
                tied = note.note is not None and (index + 1 < len(row) or note.tied_on)
                # A tie bulges away from the stem; a note without one has none in its way below.
                side = -1 if value.base < 1 else 1
                # Into a second ending a tie leads from before the first.
                ends = index > 0 or note.tied_from_before
                timed[name] = _Timed(at, value.length, side * tied, (before or side) * ends)
                before = side * tied
                at += value.length
        yield small, timed


def _drawn(music: bytes) -> list[Element]:
    """Return Verovio's pages as trees."""
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    # Verovio knows for each thread where its glyphs are, and is told in the one that imports it.
    verovio.setDefaultResourcePath(str(Path(verovio.__file__).parent / "data"))
    toolkit = verovio.toolkit()
    toolkit.setOptions(_OPTIONS)
    if not toolkit.loadData(music.decode()):
        raise failure(
            "the staves could not be engraved", "please report this exercise as a mistake of ours"
        )
    return [
        _without_namespaces(ElementTree.fromstring(toolkit.renderToSVG(number)))
        for number in range(1, toolkit.getPageCount() + 1)
    ]


def _without_namespaces(root: Element) -> Element:
    for element in root.iter():
        element.tag = element.tag.rpartition("}")[2]
    return root


def _without_signs(exercise: Exercise) -> Exercise:
    """The exercise with its notes alone: what stands at bar lines and over them is drawn by us."""
    lines = []
    for line in exercise.lines:
        bars = (replace(bar, signs=NO_SIGNS, words=(), number="") for bar in line.bars)
        lines.append(replace(line, bars=tuple(bars)))
    return replace(exercise, lines=tuple(lines), order=())


def _with_signs(
    engraved: Sequence[EngravedBar], written: Sequence[Bar], numbers: Sequence[str]
) -> list[EngravedBar]:
    """Give engraved bars the signs, words and numbers of the bars that they are printed from."""
    bars = []
    numbers = ("",) * (len(engraved) - len(numbers)) + tuple(numbers)
    offsets = bar_offsets(written)
    for index, (one, bar) in enumerate(zip(engraved, written, strict=True)):
        before = written[index - 1].signs if index else NO_SIGNS
        after = written[index + 1].signs if index + 1 < len(written) else NO_SIGNS
        signs = bar.signs
        begins = bool(signs.endings) and (signs.endings != before.endings or before.closes > 0)
        ends = bool(signs.endings) and (signs.endings != after.endings or signs.closes > 0)
        bars.append(
            replace(
                one,
                signs=signs,
                words=tuple(filter(None, map(printable, bar.words))),
                number=printable(numbers[index]),
                has_own_number=bool(bar.number),
                beat_value=bar.meter.beat_value,
                offset=offsets[index] * bar.meter.beat_value,
                begins_tempo=bar.tempo is not None,
                begins_row=bar.begins_row,
                begins_ending=begins,
                ends_ending=ends,
                closes_ending=ends and (signs.closes > 0 or index + 1 == len(written)),
            )
        )
    return bars


def engrave(
    exercise: Exercise,
    opened: Opened = "as written",
    pickups: Sequence[Fraction] | None = None,
    *,
    apart: bool = False,
) -> Engraving:
    """Return an exercise's lines as engraved bars.

    Parameters
    ----------
    exercise:
        What is printed.
    opened:
        How ornaments are printed.
    pickups:
        As for `write_musicxml`.
    apart:
        Whether each line is to stand without those before it, and shows its time signature.

    Raises
    ------
    RungwiseError
        If an opened ornament has more parts than its note has room for.
    """
    music = write_musicxml(
        _without_signs(exercise), opened=opened, headings=False, tempo_marks=False, pickups=pickups
    )
    symbols: dict[str, str] = {}
    measures: list[Element] = []
    for page in _drawn(music):
        for symbol in page.iter("g"):
            name = symbol.get("id", "")
            if len(symbol) == 1 and symbol[0].tag == "path" and symbol[0].get("transform"):
                symbols[name.split("-")[0]] = symbol[0].get("d", "")
        measures += [element for element in page.iter("g") if _class(element) == "measure"]
    remaining = iter(measures)
    lines = []
    meters: dict[Meter, tuple[Glyph, ...]] = {}
    for number, line in enumerate(exercise.lines, start=1):
        bars: list[EngravedBar] = []
        clef: Glyph | None = None
        pickup = Fraction(0) if pickups is None else pickups[number - 1]
        printed = printed_line(exercise, number, opened, pickup)
        for small, timed in _timed_notes(printed):
            bar = _Bar(next(remaining), small, timed)
            clef = clef or bar.clef
            bars.append(bar.engraved())
        assert clef is not None, f"line {number} ({len(line.bars)} bars) begins with a clef"
        bars = [
            replace(bar, goes_on=goes_on, goes_on_in_an_ending=in_an_ending)
            for bar, goes_on, in_an_ending in zip(
                bars,
                goes_on_at_another_tempo(printed.bars),
                goes_on_in_an_ending(printed.bars),
                strict=True,
            )
        ]
        bars = _with_signs(bars, printed.bars, bar_numbers(line))
        if (apart or line.tune) and not bars[0].meter and printed.bars[0].meter in meters:
            # Every tune of a medley does that, too.
            bars[0] = replace(bars[0], meter=meters[printed.bars[0].meter])
        shown = zip(bars, printed.bars, strict=True)
        meters |= {written.meter: one.meter for one, written in shown if one.meter}
        ends_exercise = number == len(exercise.lines)
        bars[-1] = replace(bars[-1], ends_line=True, ends_exercise=ends_exercise)
        lines.append(EngravedLine(tuple(bars), clef, len(bars) - len(line.bars)))
    return Engraving(tuple(lines), symbols)
