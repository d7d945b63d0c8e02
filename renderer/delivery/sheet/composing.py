"""What stands where on the pages of a sheet or booklet: measured parts in, leaves out.

Typst measures and sets type, and nothing else: `composed` asks it how large each element is, and
places them all. A leaf is what is read as one page; how leaves come onto sheets of paper is a
matter of `pages`. Lengths are millimetres.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from renderer.delivery.sheet.content import ExerciseContent, LegendItem, LineContent, Staff
from renderer.delivery.sheet.layout import (
    CODE_MM,
    GUTTER_MM,
    UNITS_A_SPACE,
    Imposition,
    PrintSize,
    SheetSettings,
)
from renderer.delivery.sheet.page_plan import Gap, Part, pages_of_parts, tops_of_parts
from renderer.errors import failure

_FOOT_GAP_MM = 3.0

_ROW_GAP_EM = (0.8, 4.0)
_SYSTEM_GAP_EM = (0.45, 2.2)
_TITLE_GAP_EM = (1.0, 2.4)
_NOTE_GAP_EM = (0.6, 0.6)
_EXERCISE_GAP_EM = (3.2, 7.0)
_ENTRY_GAP_EM = (1.0, 1.0)
_GROUP_GAP_EM = (1.8, 1.8)
"""Between rows, systems, title and music, paragraphs of notes, exercises of a booklet, entries and
groups of its contents: at least, and where the page has room, in heights of the text (judgement).
Where staves are large for their text, two of their spaces are the measure of the latter.
"""

_HEAD_GAP_EM = 0.5
_TAIL_GAP_EM = 0.35
"""Between a heading and its staff, and a staff and its advice. Always less than between rows, so
that both are seen to belong to their staff."""

_BOXES_MM = (17.1, 14.0, 11.5)
"""How wide a box for a rung is: ten fill a row of A4; narrower where a heading is long, down to
what a date and initials need (judgement)."""

_COMPACT_BOXES_MM = (14.0, 11.5, 9.5)
"""The same in compact print."""

_BETWEEN_BOXES_MM = 1.0
_BESIDE_BOXES_MM = 3.0
_NARROWEST_HEADING_MM = 25.0

_FEET = ("foot", "later foot")
"""That of a sheet's first page, which has the caution, and that of every other page."""

_TORN = 0.25
"""A line that is torn apart by the foot of a page is as bad as half a page that is empty
(judgement)."""

_TALLEST_KEPT = 0.5
"""A line that takes no more of a page than this is never torn apart by its foot."""


@dataclass(frozen=True, slots=True)
class Element:
    """Something that the template draws.

    Parameters
    ----------
    kind:
        `cover`; `contents`, `group` and `entry` of them; `title` and `note` of an exercise;
        `heading`, `boxes`, `code`, `staff` and `advice` of a line; `movements`, and of each
        `movement` (its heading) and `explained` (its staff); `card` (where to cut one out) and
        `belongs` (to which exercise it does); `foot` with the caution, and `later foot` without.
    exercise, index, staff:
        Of which exercise, line (or note, or legend) and system, from 0.
    width:
        How wide it may be; None for as wide as it is.
    box, height:
        How wide the boxes of rungs are, and how tall a card is.
    """

    kind: str
    exercise: int = 0
    index: int = 0
    staff: int = 0
    width: float | None = None
    box: float = 0.0
    height: float = 0.0


@dataclass(frozen=True, slots=True)
class Placed:
    """An element and its place from the upper left corner of its leaf."""

    element: Element
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Leaf:
    """What is read as one page: its elements in the order in which they are read, its legend (None
    for a cover, which has no foot), and whether the caution stands in its foot."""

    placed: tuple[Placed, ...]
    legend: tuple[LegendItem, ...] | None
    is_cautioned: bool = False


Sizes = Mapping[Element, tuple[float, float]]
Measure = Callable[[Sequence[Element]], Sizes]
"""Returns how wide and tall elements are."""


@dataclass(frozen=True, slots=True)
class Composed:
    """What `Composer.composed` returns.

    Parameters
    ----------
    leaves:
        All of them.
    line_leaves:
        For each exercise, the leaf that each of its lines ends on, from 1.
    first_leaves:
        The leaf that each exercise begins on.
    filled, emptiest:
        The share of its height that the last leaf of music fills, and the least that any does.
    needed:
        How many pages the music would fill without a gap that is wider than it must be.
    torn:
        How many lines are parted by the foot of a page.
    wrapped:
        How many headings take more than one row.
    """

    leaves: tuple[Leaf, ...]
    line_leaves: tuple[tuple[int, ...], ...]
    first_leaves: tuple[int, ...]
    filled: float
    emptiest: float
    needed: float
    torn: int
    wrapped: int


@dataclass(frozen=True, slots=True)
class _Block:
    """Elements that are never parted, placed from the block's upper left corner, and the lines that
    end with it: exercise and line, from 0."""

    height: float
    gap: Gap
    placed: tuple[Placed, ...]
    ends: tuple[tuple[int, int], ...] = ()

    @property
    def part(self) -> Part:
        return Part(self.height, self.gap)


@dataclass(frozen=True, slots=True)
class Group:
    """What of a booklet is of one type and level: a heading, and exercises by their indexes."""

    heading: str
    exercises: tuple[int, ...]


def _rank(level: str) -> int:
    return LEVELS.index(level) if level in LEVELS else len(LEVELS)


class Composer:
    """Composes the leaves of exercises at one size of print.

    Parameters
    ----------
    exercises, settings:
        What is printed, and how.
    is_booklet:
        Whether there are a cover and contents before.
    """

    def __init__(
        self,
        exercises: Sequence[ExerciseContent],
        settings: SheetSettings,
        *,
        is_booklet: bool,
    ) -> None:
        self.exercises, self.settings, self.is_booklet = exercises, settings, is_booklet
        self.em = settings.text_pt * 25.4 / 72
        is_compact = settings.size is PrintSize.COMPACT
        self.boxes_mm = _COMPACT_BOXES_MM if is_compact else _BOXES_MM
        self.width = settings.text_mm

    @property
    def legend(self) -> tuple[LegendItem, ...]:
        """All signs that any exercise has."""
        return tuple(dict.fromkeys(item for one in self.exercises for item in one.legend))

    @cached_property
    def groups(self) -> tuple[Group, ...]:
        """The groups of the contents: types as they come, in each the levels from the lowest."""
        found: dict[str, dict[str, list[int]]] = {}
        for number, exercise in enumerate(self.exercises):
            found.setdefault(exercise.kind, {}).setdefault(exercise.level, []).append(number)
        return tuple(
            Group(f"{kind}: {level}" if level else kind, tuple(levels[level]))
            for kind, levels in found.items()
            for level in sorted(levels, key=_rank)
        )

    def composed(self, measure: Measure) -> Composed:
        """Return the leaves; raises a `RungwiseError` for a line that no card has room for."""
        settings = self.settings
        self._sizes = measure(list(dict.fromkeys(self._wanted())))
        # What a page has between its head and its foot: the first one, and those that follow.
        self._first_height, self._height = map(self._height_over, _FEET)
        if self.is_booklet:
            self._first_height = self._height
        before: list[Leaf] = []
        if self.is_booklet:
            cover = Element("cover", width=self.width)
            at = Placed(cover, settings.side_mm, settings.head_mm)
            before.append(Leaf((at,), None))
            before += (leaf for leaf, _, _ in self._leaves(list(self._contents())))
        blocks = [
            block for number in range(len(self.exercises)) for block in self._exercise(number)
        ]
        music = list(self._leaves(blocks))
        line_leaves = [[0] * len(exercise.lines) for exercise in self.exercises]
        first_leaves = [0] * len(self.exercises)
        for number, (leaf, ends, _) in enumerate(music, start=len(before) + 1):
            for exercise, line in ends:
                line_leaves[exercise][line] = number
            for one in leaf.placed:
                if one.element.kind in _MUSIC and not first_leaves[one.element.exercise]:
                    first_leaves[one.element.exercise] = number
        return Composed(
            leaves=(*before, *(leaf for leaf, _, _ in music)),
            line_leaves=tuple(map(tuple, line_leaves)),
            first_leaves=tuple(first_leaves),
            torn=_torn([leaf for leaf, _, _ in music]),
            filled=music[-1][2],
            emptiest=min(filled for _, _, filled in music),
            wrapped=self._wrapped(),
            needed=(sum(block.height + block.gap.least for block in blocks) - blocks[0].gap.least)
            / self._height,
        )

    def _height_over(self, foot: str) -> float:
        size = self._measured(Element(foot, width=self.width))
        return self.settings.page_mm[1] - 2 * self.settings.head_mm - _FOOT_GAP_MM - size[1]

    def _wrapped(self) -> int:
        """Return how many headings take more than one row although their line has it for itself."""
        count = 0
        for number, exercise in enumerate(self.exercises):
            for line in range(len(exercise.lines)):
                width = self._width_of(exercise, line)
                count += self._measured(Element("heading", number, line))[0] > width + 1e-6
        return count

    def _leaves(
        self, blocks: Sequence[_Block]
    ) -> Iterator[tuple[Leaf, list[tuple[int, int]], float]]:
        """Yield leaves, the lines that end on each, and the share of its height that it fills."""
        pages = pages_of_parts([block.part for block in blocks], self._height, self._first_height)
        for page in pages:
            here = blocks[page.start : page.stop]
            height = self._height if page.start else self._first_height
            side, head = self.settings.side_mm, self.settings.head_mm
            tops = tops_of_parts([block.part for block in here], height)
            placed = tuple(
                Placed(one.element, side + one.x, head + top + one.y)
                for block, top in zip(here, tops, strict=True)
                for one in block.placed
            )
            shown = sorted({one.element.exercise for one in placed if one.element.kind in _MUSIC})
            legend = dict.fromkeys(item for one in shown for item in self.exercises[one].legend)
            ends = [end for block in here for end in block.ends]
            is_cautioned = not self.is_booklet and page.start == 0
            leaf = Leaf(placed, tuple(legend), is_cautioned)
            yield leaf, ends, (tops[-1] + here[-1].height) / height

    def _gap(self, ems: tuple[float, float], *, breakable: bool = True) -> Gap:
        wide = max(self.em, 2 * self.settings.space_mm)
        return Gap(ems[0] * self.em, ems[1] * wide, breakable)

    def _measured(self, element: Element) -> tuple[float, float]:
        return self._sizes[element]

    def _wanted(self) -> Iterator[Element]:
        """Yield every element whose size must be known."""
        for foot in _FEET:
            yield Element(foot, width=self.width)
        if self.is_booklet:
            yield Element("contents", width=self.width)
            for index in range(len(self.groups)):
                yield Element("group", index=index, width=self.width)
        for number, exercise in enumerate(self.exercises):
            if self.is_booklet:
                yield Element("entry", number, width=self.width)
            yield Element("title", number, width=self.width)
            for note in range(len(exercise.notes)):
                yield Element("note", number, note, width=self.width)
            if exercise.explained:
                yield Element("movements", number, width=self.width)
            for index in range(len(exercise.explained)):
                yield Element("movement", number, index, width=self.settings.strip_mm)
            for line in range(len(exercise.lines)):
                yield from self._wanted_of(number, line)

    def _wanted_of(self, number: int, line: int) -> Iterator[Element]:
        """Yield every element of a line whose size must be known."""
        exercise = self.exercises[number]
        content = exercise.lines[line]
        width = self._width_of(exercise, line)
        yield Element("belongs", number, line, width=width)
        yield Element("heading", number, line)
        yield Element("heading", number, line, width=width)
        beside = self._beside_boxes(content, width, self.boxes_mm[-1])
        if beside >= _NARROWEST_HEADING_MM:
            yield Element("heading", number, line, width=beside)
        for box in self.boxes_mm:
            boxes = self._boxes(number, line, width, box)
            if boxes is not None:
                yield boxes
        if content.advice:
            yield Element("advice", number, line, width=width)

    def _width_of(self, exercise: ExerciseContent, line: int) -> float:
        is_paired = any(len(row) > 1 and line in row for row in exercise.rows)
        return self.settings.half_mm if is_paired else self.settings.line_mm

    def _head_width(self, number: int, line: int, box: float) -> float:
        """Return where the boxes of a line end: over the end of its staff where that is possible.

        An odd line so stays in its column. Where its heading leaves the boxes no room there, they
        end where those of whole lines do, not at a place of their own.
        """
        exercise = self.exercises[number]
        content = exercise.lines[line]
        width = self._width_of(exercise, line)
        if len(content.staves) > 1 or width < self.settings.line_mm:
            return width
        heading = self._measured(Element("heading", number, line))[0]
        needed = heading + width - self._beside_boxes(content, width, box)
        staff = content.staves[0].width * self.settings.space_mm / UNITS_A_SPACE
        end = max(self.settings.half_mm, staff)
        return end if needed <= end < width else width

    def _boxes(self, number: int, line: int, width: float, box: float) -> Element | None:
        """Return the boxes of a line's rungs, as wide as they are or as there is room for."""
        count = len(self.exercises[number].lines[line].rungs)
        if not count:
            return None
        natural = _boxes_width(count, box)
        fit = max(1, int((width + _BETWEEN_BOXES_MM + 1e-6) / (box + _BETWEEN_BOXES_MM)))
        shown = natural if natural <= width + 1e-6 else _boxes_width(fit, box)
        # A hair more, so that the last box of a row is not broken off it.
        return Element("boxes", number, line, width=shown + 0.05, box=box)

    def _beside_boxes(self, content: LineContent, width: float, box: float) -> float:
        """Return how wide a heading may be that has its boxes beside it."""
        if not content.rungs:
            return width
        return width - _boxes_width(len(content.rungs), box) - _BESIDE_BOXES_MM

    def _box_of(self, number: int) -> float:
        """Return how wide the boxes of an exercise are: as wide as leaves its headings on a line.

        Headings that leave the narrowest boxes no room have no say.
        """
        exercise = self.exercises[number]
        for box in self.boxes_mm:
            for line, content in enumerate(exercise.lines):
                wide = self._measured(Element("heading", number, line))[0]
                width = self._width_of(exercise, line)
                narrow = self._beside_boxes(content, width, self.boxes_mm[-1])
                if self._beside_boxes(content, width, box) < wide <= narrow:
                    break
            else:
                return box
        return self.boxes_mm[-1]

    def _contents(self) -> Iterator[_Block]:
        """Yield the contents: what there is of each type and level, under headings if several."""
        heading = Element("contents", width=self.width)
        none = Gap(0, 0)
        yield _Block(self._measured(heading)[1], none, (Placed(heading, 0, 0),))
        for index, group in enumerate(self.groups):
            step = self._gap(_ENTRY_GAP_EM, breakable=False)
            if len(self.groups) > 1:
                head = Element("group", index=index, width=self.width)
                gap = self._gap(_GROUP_GAP_EM, breakable=index > 0)
                yield _Block(self._measured(head)[1], gap, (Placed(head, 0, 0),))
            for number in group.exercises:
                entry = Element("entry", number, width=self.width)
                yield _Block(self._measured(entry)[1], step, (Placed(entry, 0, 0),))
                step = self._gap(_ENTRY_GAP_EM)

    def _exercise(self, number: int) -> list[_Block]:
        if self.settings.imposition is Imposition.CARDS:
            return [self._card(number, row) for row in self.exercises[number].rows]
        exercise = self.exercises[number]
        title = Element("title", number, width=self.width)
        gap = self._gap(_EXERCISE_GAP_EM)
        blocks = [_Block(self._measured(title)[1], gap, (Placed(title, 0, 0),))]
        for index in range(len(exercise.notes)):
            note = Element("note", number, index, width=self.width)
            gap = self._gap(_NOTE_GAP_EM, breakable=index > 0)
            blocks.append(_Block(self._measured(note)[1], gap, (Placed(note, 0, 0),)))
        for index, row in enumerate(exercise.rows):
            first = index == 0
            gap = self._gap(_TITLE_GAP_EM if first else _ROW_GAP_EM, breakable=not first)
            added = self._row(number, row, gap)
            if first and blocks[-1].height + gap.least + added[0].height > self._first_height:
                # Rather a title by itself than staves that leave the page.
                added[0] = replace(added[0], gap=replace(gap, breakable=True))
            blocks += added
        blocks += self._strip(number)
        needed = sum(block.height + block.gap.least for block in blocks) - blocks[0].gap.least
        if self.is_booklet and needed <= self._height:
            # What fits a page is not torn apart for the sake of what stands before it.
            blocks[1:] = [replace(one, gap=replace(one.gap, breakable=False)) for one in blocks[1:]]
        return blocks

    def _strip(self, number: int) -> Iterator[_Block]:
        """Yield the strip that explains the movements of an exercise, a row a block."""
        explained = self._explained(number)
        width, columns = self.settings.strip_mm, self.settings.strip_columns
        for first in range(0, len(explained), columns):
            row = explained[first : first + columns]
            heads = [Element("movement", number, index, width=width) for index in row]
            tall = max(self._measured(head)[1] for head in heads)
            above = 0.0
            placed: list[Placed] = []
            if first == 0:
                title = Element("movements", number, width=self.width)
                placed.append(Placed(title, 0, 0))
                above = self._measured(title)[1] + _TITLE_GAP_EM[0] * self.em
            staff = above + tall + _HEAD_GAP_EM * self.em
            bottom = staff
            for column, (index, head) in enumerate(zip(row, heads, strict=True)):
                x = column * (width + GUTTER_MM)
                drawn = Element("explained", number, index, width=width)
                content = self.exercises[number].explained[index].staff
                placed.append(Placed(head, x, above + tall - self._measured(head)[1]))
                placed.append(Placed(drawn, x, staff))
                bottom = max(bottom, staff + self._staff_height(content, width))
            yield _Block(
                bottom, self._gap(_EXERCISE_GAP_EM if first == 0 else _ROW_GAP_EM), tuple(placed)
            )

    def _explained(self, number: int) -> list[int]:
        """Return which of its movements no exercise before explains, by their indexes."""
        before = {movement.name for one in self.exercises[:number] for movement in one.explained}
        lines = self.exercises[number].explained
        return [index for index, line in enumerate(lines) if line.name not in before]

    def _card(self, number: int, row: Sequence[int]) -> _Block:
        """Return a row as a card to cut out, or as two beside each other."""
        pad = self.settings.pad_mm
        width = self.settings.second_mm if len(row) > 1 else self.width
        above = [
            Element("belongs", number, line, width=self._width_of(self.exercises[number], line))
            for line in row
        ]
        top = pad + max(self._measured(one)[1] for one in above) + _TITLE_GAP_EM[0] * self.em
        placed: list[Placed] = []
        for block in self._row(number, row, Gap(0, 0)):
            top += block.gap.least
            placed += (Placed(one.element, pad + one.x, top + one.y) for one in block.placed)
            top += block.height
        height = top + pad
        most = self._first_height
        if height > most:
            shown = self.exercises[number].lines[row[0]].number
            raise failure(
                f"line {shown} is {height:.0f} mm tall, and a card {most:.0f} at most",
                "print cards in compact size, or this exercise on pages",
            )
        heads = []
        for column, one in enumerate(above):
            edge = Element("card", number, width=width, height=height)
            heads.append(Placed(edge, column * width, 0))
            heads.append(Placed(one, pad + column * width, pad))
        return _Block(height, Gap(0, 0), (*heads, *placed), tuple((number, line) for line in row))

    def _row(self, number: int, row: Sequence[int], gap: Gap) -> list[_Block]:
        """Return a row: one line, or two beside each other with their staves level."""
        exercise = self.exercises[number]
        box = self._box_of(number)
        heads = self._heads(number, row, box)
        head = max(height for height, _ in heads) + _HEAD_GAP_EM * self.em
        codes = [self._codes(number, line) for line in row]
        if len(row) == 1 and len(exercise.lines[row[0]].staves) > 1:
            return self._systems(number, row[0], (*heads[0][1], *codes[0]), head, gap)
        placed: list[Placed] = []
        bottom = max(head, CODE_MM if any(codes) else 0.0)
        for column, (line, (height, inside)) in enumerate(zip(row, heads, strict=True)):
            x = column * self.settings.second_mm
            lower = head - _HEAD_GAP_EM * self.em - height
            placed += (Placed(one.element, x + one.x, lower + one.y) for one in inside)
            width = self._width_of(exercise, line)
            y, rest = self._staff_and_advice(number, line, 0, width, head)
            placed += (Placed(one.element, x + one.x, one.y) for one in (*rest, *codes[column]))
            bottom = max(bottom, y)
        return [_Block(bottom, gap, tuple(placed), tuple((number, line) for line in row))]

    def _codes(self, number: int, line: int) -> tuple[Placed, ...]:
        """Return a line's QR code at the end of its row; none where it has no address."""
        exercise = self.exercises[number]
        if not exercise.lines[line].link:
            return ()
        x = self._width_of(exercise, line) + self.settings.beside_mm - CODE_MM
        return (Placed(Element("code", number, line, width=CODE_MM), x, 0),)

    def _systems(
        self, number: int, line: int, inside: Sequence[Placed], head: float, gap: Gap
    ) -> list[_Block]:
        """Return a line of several systems, kept together where it is not too tall."""
        staves = self.exercises[number].lines[line].staves
        blocks = []
        for index in range(len(staves)):
            top = head if index == 0 else 0.0
            height, placed = self._staff_and_advice(number, line, index, self.settings.line_mm, top)
            before = inside if index == 0 else ()
            if index == 0 and self.exercises[number].lines[line].link:
                height = max(height, CODE_MM)
            ends = ((number, line),) if index + 1 == len(staves) else ()
            step = gap if index == 0 else replace(self._gap(_SYSTEM_GAP_EM), cost=_TORN)
            blocks.append(_Block(height, step, (*before, *placed), ends))
        tall = sum(block.height + block.gap.least for block in blocks) - gap.least
        if tall <= _TALLEST_KEPT * self._height:
            blocks[1:] = [replace(one, gap=replace(one.gap, breakable=False)) for one in blocks[1:]]
        return blocks

    def _staff_and_advice(
        self, number: int, line: int, index: int, width: float, top: float
    ) -> tuple[float, list[Placed]]:
        """Return a system and what stands under the last one, and how far down that reaches."""
        content = self.exercises[number].lines[line]
        placed = [Placed(Element("staff", number, line, index, width=width), 0, top)]
        bottom = top + self._staff_height(content.staves[index], width)
        if index + 1 == len(content.staves) and content.advice:
            advice = Element("advice", number, line, width=width)
            bottom += _TAIL_GAP_EM * self.em
            placed.append(Placed(advice, 0, bottom))
            bottom += self._measured(advice)[1]
        return bottom, placed

    def _staff_height(self, staff: Staff, width: float) -> float:
        unit = self.settings.space_mm / UNITS_A_SPACE
        return staff.height * unit * min(1.0, width / (staff.width * unit))

    def _heads(
        self, number: int, row: Sequence[int], box: float
    ) -> list[tuple[float, list[Placed]]]:
        """Return the headings and boxes of lines that share a row, and how tall each is.

        Boxes stand beside their headings where all have room for that, else under them.
        """
        widths = [self._head_width(number, line, box) for line in row]
        beside = [
            self._head_beside(number, line, box, width)
            for line, width in zip(row, widths, strict=True)
        ]
        if all(beside):
            return [head for head in beside if head]
        heads = [self._head_over(number, line, box) for line in row]
        # Headings stand level, though the times of tracks stand over the first line's boxes alone.
        tall = max(self._boxes_height(placed) for _, placed in heads)
        level = []
        for height, (*above, last) in heads:
            room = tall - self._boxes_height([last]) if last.element.kind == "boxes" else 0.0
            level.append((height + room, [*above, replace(last, y=last.y + room)]))
        return level

    def _boxes_height(self, placed: Sequence[Placed]) -> float:
        return sum(self._measured(one.element)[1] for one in placed if one.element.kind == "boxes")

    def _head_beside(
        self, number: int, line: int, box: float, width: float
    ) -> tuple[float, list[Placed]] | None:
        """Return a line's heading with its boxes beside it; None where it has no room for that."""
        exercise = self.exercises[number]
        content = exercise.lines[line]
        natural = Element("heading", number, line)
        column = self._width_of(exercise, line)
        boxes = self._boxes(number, line, column, box)
        if boxes is None:
            whole = Element("heading", number, line, width=column)
            return self._measured(whole)[1], [Placed(whole, 0, 0)]
        wide = self._measured(natural)[0]
        if wide <= self._beside_boxes(content, width, box) + 1e-6:
            return self._beside(natural, boxes, width)
        room = self._beside_boxes(content, width, self.boxes_mm[-1])
        # A heading that has two rows anyway has them where they take no more height.
        if wide > column + 1e-6 and room >= _NARROWEST_HEADING_MM:
            broken = Element("heading", number, line, width=room)
            narrow = self._boxes(number, line, width, self.boxes_mm[-1])
            if narrow and self._measured(broken)[1] <= self._head_over(number, line, box)[0]:
                return self._beside(broken, narrow, width)
        return None

    def _head_over(self, number: int, line: int, box: float) -> tuple[float, list[Placed]]:
        """Return a line's heading over its boxes."""
        column = self._width_of(self.exercises[number], line)
        whole = Element("heading", number, line, width=column)
        high = self._measured(whole)[1]
        # Boxes in a row of their own take one, if they are narrow enough for it.
        count = len(self.exercises[number].lines[line].rungs)
        fits = (one for one in self.boxes_mm if one <= box and _boxes_width(count, one) <= column)
        boxes = self._boxes(number, line, column, next(fits, self.boxes_mm[-1]))
        if boxes is None:
            return high, [Placed(whole, 0, 0)]
        top = high + _HEAD_GAP_EM * self.em
        return top + self._measured(boxes)[1], [Placed(whole, 0, 0), Placed(boxes, 0, top)]

    def _beside(self, heading: Element, boxes: Element, width: float) -> tuple[float, list[Placed]]:
        high, tall = self._measured(heading)[1], self._measured(boxes)[1]
        height = max(high, tall)
        return height, [
            Placed(heading, 0, height - high),
            Placed(boxes, width - (boxes.width or 0), height - tall),
        ]


def _torn(leaves: Sequence[Leaf]) -> int:
    """Return how many lines have staves on more than one leaf."""
    on_leaves = [
        {
            (one.element.exercise, one.element.index)
            for one in leaf.placed
            if one.element.kind == "staff"
        }
        for leaf in leaves
    ]
    return sum(len(here & there) for here, there in itertools.pairwise(on_leaves))


def _boxes_width(count: int, box: float) -> float:
    return count * box + (count - 1) * _BETWEEN_BOXES_MM


LEVELS = ("beginner", "improver", "intermediate", "advanced", "every level")
"""As the shipped exercises name them, from the easiest."""

_MUSIC = frozenset({"title", "note", "heading", "boxes", "staff", "advice", "code", "explained"})
