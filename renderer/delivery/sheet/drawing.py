"""From systems to SVG drawings in black: staves, marks over the notes, strips of finger changes.

Every note is a group of class `note`, every gracenote one of class `gracenote`, both with the
written note's name; groups of class `bar`, `beam` and `tie` hold the rest. Drawings of one line
share their height, so that its systems stand evenly; only the first may lack the room for marks.
Text is not drawn here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from xml.sax.saxutils import quoteattr

from renderer.delivery.sheet.bar_lines import BAR_LINE, line_after, opening
from renderer.delivery.sheet.engraving import STAFF_HEIGHT, STAFF_LINE, Column, Tuplet
from renderer.delivery.sheet.layout import UNITS_A_SPACE
from renderer.delivery.sheet.over_staff import (
    BRACKET_HEIGHT,
    WORDS_HEIGHT,
    OverStaff,
    StaffText,
    rows_needed,
)
from renderer.delivery.sheet.pieces import (
    Box,
    Glyph,
    Piece,
    Stroke,
    Tie,
    XMap,
    framed,
    glyph_outline,
    union,
)
from renderer.delivery.sheet.systems import CLEF_LEFT, PlacedBar, System
from renderer.delivery.sheet.tempo_marks import HEIGHT as TEMPO_HEIGHT
from renderer.delivery.sheet.tempo_marks import TempoMark, drawn_mark
from renderer.technique.fingering import Hand

EDGE = 30.0
"""White around a drawing, so that nothing is cut off."""

_METER_LEFT = 0.55 * UNITS_A_SPACE
_AFTER_METER = 0.6 * UNITS_A_SPACE
"""Between a time signature and the sign that opens a repeat behind it."""
_STAFF_GAP = 2.0 * UNITS_A_SPACE
"""Between the extents of two staves of a system."""

MARK_WIDTH = 320.0
MARK_HEIGHT = 330.0
_MARK_STROKE = 75.0
_MARK_GAP = 90.0

_TIE_GAP = 25.0
_TIE_AWAY = 55.0
"""Of a tie: from its ends to the noteheads, and from their middles up or down to its ends."""
_HALF_TIE = 1.1 * UNITS_A_SPACE
"""The length of a tie that leads in from the system before."""

_TEMPO_GAP = 0.6 * UNITS_A_SPACE


@dataclass(frozen=True, slots=True)
class Mark:
    """A crossing noise that lurks on the way to the note called `name`."""

    name: str
    hand_first: Hand


@dataclass(frozen=True, slots=True)
class Extent:
    """How far the staves of a line reach up and down, from the top line of each staff.

    Parameters
    ----------
    top, bottom:
        Of clefs and all notes, marks left out; top is at most 0, bottom at least a staff's height.
    marks, tempos:
        How much the marks over the notes and the tempo marks over those need; 0 without any.
    endings, words:
        How much the brackets of endings need over the marks, and the words over those.
    under:
        How much is kept free under the upper of two staves for what stands there.
    """

    top: float
    bottom: float
    marks: float
    tempos: float = 0.0
    endings: float = 0.0
    words: float = 0.0
    under: float = 0.0

    @property
    def brackets_foot(self) -> float:
        """The lower edge of the brackets of endings."""
        return self.top - self.marks

    @property
    def words_foot(self) -> float:
        """The lower edge of the words."""
        return self.brackets_foot - self.endings

    @property
    def tempos_foot(self) -> float:
        """The lower edge of the tempo marks."""
        return self.words_foot - self.words

    @property
    def staff_step(self) -> float:
        """From the top line of a staff to that of the next in the same system."""
        return self.bottom + self.under - self.top + _STAFF_GAP


def extent_of(
    systems: Sequence[System],
    has_marks: bool,
    has_tempos: bool = False,
    over: Sequence[OverStaff] = (),
    under: float = 0.0,
) -> Extent:
    """Return how far the staves of a line's systems reach up and down.

    Parameters
    ----------
    systems, over:
        The systems, and what stands over each.
    has_marks, has_tempos:
        Whether there are marks over the notes, and tempo marks.
    under:
        As `Extent` has it.
    """
    boxes = [
        piece.box
        for system in systems
        for bar in system.bars
        for engraved in bar.staves
        for piece in _all_pieces(engraved.columns, engraved.beams, engraved.tuplets)
    ]
    boxes += [replace(system.clef, x=CLEF_LEFT).box for system in systems]
    everything = union([*boxes, Box(0, 0, 0, STAFF_HEIGHT)])
    marks = MARK_HEIGHT + _MARK_STROKE + _MARK_GAP if has_marks else 0.0
    has_endings, rows = rows_needed(over)
    return Extent(
        everything.top,
        everything.bottom,
        marks,
        TEMPO_HEIGHT if has_tempos else 0.0,
        BRACKET_HEIGHT if has_endings else 0.0,
        rows * WORDS_HEIGHT,
        under,
    )


def _all_pieces(
    columns: Sequence[Column], beams: Iterable[Iterable[Piece]], tuplets: Iterable[Tuplet]
) -> Iterator[Piece]:
    for column in columns:
        yield from column.pieces
    for beam in beams:
        yield from beam
    for tuplet in tuplets:
        yield from tuplet.pieces


def _tuplet_moved(
    tuplet: Tuplet, columns: Sequence[Column], places: Sequence[tuple[float, float, float]]
) -> Iterator[Piece]:
    """Yield a tuplet's bracket from its first note to its last, and its number in the middle."""
    (begin, begin_shift), (end, end_shift) = (
        (columns[index].anchor, places[index][2]) for index in (tuplet.first, tuplet.last)
    )
    number = union([glyph.box for glyph in tuplet.number])
    middle = (number.left + number.right) / 2
    share = (middle - begin) / (end - begin) if end > begin else 0.0
    shift = begin_shift + share * (end_shift - begin_shift)
    for glyph in tuplet.number:
        yield glyph.mapped(lambda x: x + shift)
    for part in tuplet.bracket:
        is_left = part.box.right <= middle
        edge, outer = (part.box.left, begin_shift) if is_left else (part.box.right, end_shift)
        points = ((x + (outer if x == edge else shift), y) for x, y in part.points)
        yield replace(part, points=tuple(points))


def _column_places(bar: PlacedBar, columns: Sequence[Column]) -> list[tuple[float, float, float]]:
    """Return each column's old left and right edge, and how far it moves right."""
    places = []
    for column in columns:
        box = column.box
        if column.fills_bar:
            middle = (column.head.box.left + column.head.box.right) / 2
            shift = bar.left + bar.width / 2 - middle
        else:
            shift = bar.left + bar.places[column.start] - column.anchor
        places.append((box.left, box.right, shift))
    return places


def _map_between(places: Sequence[tuple[float, float, float]]) -> XMap:
    """Return the map that moves columns as a whole and stretches what lies between them."""

    def x_map(x: float) -> float:
        before: tuple[float, float] | None = None
        for left, right, shift in places:
            if x < left:
                if before is None:
                    return x + shift
                edge, moved = before
                return moved + (x - edge) * (left + shift - moved) / (left - edge)
            if x <= right:
                return x + shift
            before = (right, right + shift)
        assert before is not None
        return before[1] + x - before[0]

    return x_map


def _lower(piece: str, by: float) -> str:
    return f'<g transform="translate(0 {by:.1f})">{piece}</g>' if by else piece


class Drawing:
    """A system as an SVG drawing.

    Parameters
    ----------
    system, extent:
        What is drawn, and how much room it gets.
    symbols:
        The outlines of the music font's glyphs by code point.
    marks, tempos:
        The marks over the notes of the top staff, and the line's tempo marks over those.
    over:
        What else stands over the top staff; nothing if left out.
    """

    def __init__(
        self,
        system: System,
        extent: Extent,
        symbols: Mapping[str, str],
        marks: Sequence[Mark] = (),
        tempos: Sequence[TempoMark] = (),
        over: OverStaff | None = None,
    ) -> None:
        self.system, self.extent, self.symbols = system, extent, symbols
        self.staves = len(system.bars[0].staves)
        self.places: dict[str, float] = {}
        self._groups: dict[str, str] = {}
        self._codes: set[str] = set()
        self._parts: list[str] = []
        for staff in range(self.staves):
            self._staff(staff)
        self._barlines()
        self._parts += self._marks([mark for mark in marks if mark.name in self.places])
        self.texts: tuple[StaffText, ...] = ()
        if over is not None:
            self._over(over)
        letter = over.letter if over is not None else 0.0
        self._tempos({tempo.bar: tempo for tempo in tempos}, letter)
        self.bottom = extent.bottom + (self.staves - 1) * extent.staff_step

    @property
    def top(self) -> float:
        """The upper edge of the drawing, from the top line of its top staff."""
        return self.extent.tempos_foot - self.extent.tempos - EDGE

    def _staff(self, staff: int) -> None:
        lower = staff * self.extent.staff_step
        system = self.system
        parts = [
            Stroke(system.indent, y, system.width, y, STAFF_LINE).svg
            for y in range(0, STAFF_HEIGHT + 1, UNITS_A_SPACE)
        ]
        clef = replace(system.clef, x=system.indent + CLEF_LEFT)
        parts.append(self._drawn([clef]))
        for bar in system.bars:
            parts.append(self._bar(bar, staff))
        parts += self._ties(staff)
        self._parts.append(_lower("".join(parts), lower))

    def _drawn(self, pieces: Iterable[Piece]) -> str:
        drawn = []
        for piece in pieces:
            if isinstance(piece, Glyph):
                self._codes.add(piece.code)
            drawn.append(piece.svg)
        return "".join(drawn)

    def _bar(self, bar: PlacedBar, staff: int) -> str:
        engraved = bar.staves[staff]
        parts = []
        if engraved.meter:
            left = bar.left + _METER_LEFT
            parts.append(self._drawn(replace(g, x=g.x + left) for g in engraved.meter))
        places = _column_places(bar, engraved.columns)
        x_map = _map_between(places)
        for column in engraved.columns:
            parts.append(self._column(column, x_map))
        for beam in engraved.beams:
            pieces = "".join(self._beam_piece(polygon.box, places, x_map) for polygon in beam)
            parts.append(f'<g class="beam">{pieces}</g>')
        parts += [
            self._drawn(_tuplet_moved(tuplet, engraved.columns, places))
            for tuplet in engraved.tuplets
        ]
        return f'<g class="bar">{"".join(parts)}</g>'

    def _column(self, column: Column, x_map: XMap) -> str:
        groups = [(name, pieces, "gracenote") for name, pieces in column.gracenotes]
        groups.append((column.id, column.note, "rest" if column.is_rest else "note"))
        shift = x_map(column.anchor) - column.anchor
        parts = []
        for name, pieces, kind in groups:
            place = column.place_of(name)
            assert place is not None
            self.places.setdefault(name, place + shift)
            self._groups.setdefault(name, column.id)
            drawn = self._drawn(piece.mapped(lambda x: x + shift) for piece in pieces)
            parts.append(f'<g class="{kind}" id={quoteattr(name)}>{drawn}</g>')
        if column.grace_beams:
            beams = self._drawn(beam.mapped(lambda x: x + shift) for beam in column.grace_beams)
            parts.insert(-1, f'<g class="beam gracenotes">{beams}</g>')
        return "".join(parts)

    def _beam_piece(
        self, box: Box, places: Sequence[tuple[float, float, float]], x_map: XMap
    ) -> str:
        """Draw a beam; one that ends between notes is a hook and keeps its length."""
        ends = (box.left, box.right)
        held = [any(left <= x <= right for left, right, _ in places) for x in ends]
        left, right = map(x_map, ends)
        if held == [True, False]:
            right = left + box.right - box.left
        elif held == [False, True]:
            left = right - (box.right - box.left)
        return (
            f'<rect x="{left:.1f}" y="{box.top:.1f}" width="{right - left:.1f}" '
            f'height="{box.bottom - box.top:.1f}" stroke="none"/>'
        )

    def _ties(self, staff: int) -> Iterator[str]:
        bars = self.system.bars
        row = [(bar, column) for bar in bars for column in bar.staves[staff].columns]
        before: Column | None = None
        for (bar, column), following in zip(row, [*row[1:], None], strict=True):
            head = column.head.box
            left = bar.left + bar.places.get(column.start, 0.0)
            middle = (head.top + head.bottom) / 2
            if column.tie_before and (before is None or not before.tie):
                # It began in the system before, or before a first ending.
                end, y = left - _TIE_GAP, middle + column.tie_before * _TIE_AWAY
                half = Tie(end - _HALF_TIE, end, y, column.tie_before)
                yield f'<g class="half-tie">{half.svg}</g>'
            before = column
            if not column.tie:
                continue
            dots = [
                piece.box.right for piece in column.note if not isinstance(piece, (Glyph, Stroke))
            ]
            start = left + max([head.right, *dots]) - column.anchor + _TIE_GAP
            if following is None:
                end = self.system.width - _TIE_GAP
            else:
                after, note = following
                end = after.left + after.places[note.start] - _TIE_GAP
            tie = Tie(start, max(end, start + 120), middle + column.tie * _TIE_AWAY, column.tie)
            yield f'<g class="tie">{tie.svg}</g>'

    def _barlines(self) -> None:
        system = self.system
        bottom = STAFF_HEIGHT + (self.staves - 1) * self.extent.staff_step
        tops = [staff * self.extent.staff_step for staff in range(self.staves)]
        parts = []
        engraved = [bar.staves[0] for bar in system.bars]
        rows = zip(system.bars, [None, *engraved], [*engraved[1:], None], strict=False)
        for bar, before, after in rows:
            one = bar.staves[0]
            left = bar.left
            if one.meter:
                left += _METER_LEFT + one.meter_width + _AFTER_METER
            for top in tops:
                parts.append(opening(one, before, left, top))
                parts.append(line_after(one, after, bar.left + bar.width, top))
        if self.staves > 1:
            left = system.indent + BAR_LINE / 2
            parts.append(Stroke(left, 0, left, bottom, BAR_LINE).svg)
        self._parts.append(f'<g class="barlines">{"".join(parts)}</g>')

    def _over(self, over: OverStaff) -> None:
        brackets = self.extent.brackets_foot
        words = self.extent.words_foot if over.has_endings else brackets
        for name, pieces in (
            ("endings", list(over.drawn(brackets))),
            ("signs", list(over.glyphs(words))),
        ):
            if pieces:
                self._parts.append(f'<g class="{name}">{self._drawn(pieces)}</g>')
        self.texts = tuple(over.texts(brackets, words))

    def _tempos(self, tempos: Mapping[int, TempoMark], letter: float) -> None:
        foot = self.extent.tempos_foot
        here = [bar for bar in self.system.bars if bar.number in tempos]
        ends = [*(bar.left for bar in here[1:]), self.system.width]
        for bar, end in zip(here, ends, strict=False):
            left = bar.left if bar is not self.system.bars[0] else self.system.indent + CLEF_LEFT
            room = end - left - _TEMPO_GAP
            pieces, number = drawn_mark(tempos[bar.number], left, foot, room, letter)
            self.texts = (*self.texts, number)
            self._parts.append(f'<g class="tempo">{self._drawn(pieces)}</g>')

    def _marks(self, marks: Sequence[Mark]) -> Iterator[str]:
        """Yield the marks from the left: apart, and one for several of one hand on a note."""
        step = MARK_WIDTH + 2 * _MARK_STROKE
        before: tuple[float, Hand, str] | None = None
        for mark in sorted(marks, key=lambda mark: self.places[mark.name]):
            x, group = self.places[mark.name], self._groups[mark.name]
            if before is not None and x < before[0] + step:
                if before[1:] == (mark.hand_first, group):
                    continue
                x = before[0] + step
            before = (x, mark.hand_first, group)
            yield self._mark(x, mark.hand_first)

    def _mark(self, x: float, hand_first: Hand) -> str:
        y = self.extent.top - _MARK_GAP - (MARK_HEIGHT + _MARK_STROKE) / 2
        return f'<g class="mark">{mark_svg(x, y, hand_first)}</g>'

    def add_below(self, drawing: str, height: float, texts: Iterable[StaffText] = ()) -> None:
        """Add a drawing of the given height and texts, their y counted from the lower edge."""
        self._parts.append(_lower(drawing, self.bottom))
        self.texts += tuple(replace(text, y=text.y + self.bottom) for text in texts)
        self.bottom += height

    def add_under_top(self, drawing: str, top: float, texts: Iterable[StaffText] = ()) -> None:
        """Add a drawing and texts under the upper of two staves, `top` below its lower edge."""
        top += self.extent.bottom
        self._parts.append(_lower(drawing, top))
        self.texts += tuple(replace(text, y=text.y + top) for text in texts)

    @property
    def size(self) -> tuple[float, float]:
        """Width and height in units."""
        return self.system.width + 2 * EDGE, self.bottom + EDGE - self.top

    @property
    def svg(self) -> str:
        """The whole drawing."""
        symbols = "".join(
            f'<path id="g{code}" transform="scale(1 -1)" '
            f'd="{self.symbols.get(code) or glyph_outline(code)}" stroke="none"/>'
            for code in sorted(self._codes)
        )
        return framed(f"<defs>{symbols}</defs>{''.join(self._parts)}", -EDGE, self.top, *self.size)


def mark_svg(x: float, y: float, hand_first: Hand) -> str:
    """Draw the mark of a crossing noise around its middle: an angle towards the hand to move first.

    The left hand is the upper one on the chanter, so its angle points up.
    """
    half, away = MARK_WIDTH / 2, MARK_HEIGHT / 2
    away = -away if hand_first is Hand.LEFT else away
    return (
        f'<path d="M{x - half:.1f} {y - away:.1f}L{x:.1f} {y + away:.1f}'
        f'L{x + half:.1f} {y - away:.1f}" stroke-width="{_MARK_STROKE}" stroke-linecap="round" '
        'stroke-linejoin="round" fill="none"/>'
    )
