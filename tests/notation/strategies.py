"""Random exercises as a score can hold them: bars that add up, at any legal notes and meters."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from hypothesis import assume
from hypothesis import strategies as st

from renderer.notation.groups import slots_of_group
from renderer.notation.length import Length
from renderer.notation.pitch import Note
from renderer.notation.playing import BOOK, EVEN, Inner
from renderer.notation.score import (
    Bar,
    Exercise,
    Gracenotes,
    Item,
    Ladder,
    Line,
    MelodyNote,
    Meter,
    Rest,
    Slot,
)
from renderer.notation.signs import JUMPS, NO_SIGNS, Signs, signs_of_words

INNERS = [
    BOOK,
    EVEN,
    Inner((Length(Fraction(110), "ms"),)),
    Inner((Length(Fraction(1, 2), "beat"),)),
]
METERS = [Meter(2, 4), Meter(3, 4), Meter(4, 4), Meter(6, 8), Meter(9, 8), Meter(2, 2), Meter(5, 8)]
PARTS_OF_A_BEAT = [Fraction(1), Fraction(1, 2), Fraction(1, 4), Fraction(3, 4), Fraction(1, 3)]
TEXT = st.text(
    st.characters(min_codepoint=32, max_codepoint=0x2FFF, exclude_categories=("Cs", "Cc", "Co")),
    min_size=1,
    max_size=20,
).filter(lambda text: text == " ".join(text.split()) and bool(text))


@st.composite
def _lengths(draw: st.DrawFn, total: Fraction) -> list[Fraction]:
    """Lengths that add up to `total` beats."""
    lengths = []
    left = total
    while left > 0:
        length = min(left, draw(st.sampled_from([Fraction(2), *PARTS_OF_A_BEAT])))
        lengths.append(length)
        left -= length
    return lengths


@st.composite
def _note(draw: st.DrawFn, beats: Fraction) -> MelodyNote:
    note = draw(st.sampled_from(Note))
    group = draw(st.lists(st.sampled_from(Note), max_size=4))
    return MelodyNote(beats, slots_of_group(note, group))


@st.composite
def _bar(draw: st.DrawFn, meter: Meter, beats: Fraction, before: Note | None) -> Bar:
    items: list[Item] = []
    for length in draw(_lengths(beats)):
        kind = draw(st.integers(0, 9))
        if kind == 0 and not (items and isinstance(items[-1], Rest)):
            items.append(Rest(length))
        elif kind == 1 and not items and before is not None:
            items.append(MelodyNote(length, (Slot(before),), tied=True))
        else:
            items.append(draw(_note(length)))
    return Bar(tuple(items), meter)


@st.composite
def _divided(draw: st.DrawFn, bar: Bar) -> list[Bar]:
    """The bar, or at times its two parts as a repeat sign divides it, or its first part alone."""
    kind = draw(st.integers(0, 5))
    if kind > 1 or len(bar.items) < 2:
        return [bar]
    at = draw(st.integers(1, len(bar.items) - 1))
    parts = [replace(bar, items=bar.items[:at]), replace(bar, items=bar.items[at:])]
    return parts if kind else parts[:1]


@st.composite
def _line(draw: st.DrawFn, meter: Meter, *, pickups: bool) -> Line:
    pickup = draw(st.sampled_from([Fraction(0), Fraction(1)])) if pickups else Fraction(0)
    count = draw(st.integers(2 if pickup else 1, 4))
    bars: list[Bar] = []
    for number in range(count):
        beats = Fraction(meter.beats)
        if pickup and number == 0:
            beats = pickup
        elif pickup and number == count - 1:
            beats -= pickup
        last = bars[-1].items[-1] if bars else None
        before = last.note if isinstance(last, MelodyNote) else None
        bar = draw(_bar(meter, beats, before))
        bars += draw(_divided(bar)) if pickups else [bar]
    return Line(tuple(bars), draw(st.just("") | TEXT))


@st.composite
def written_exercises(draw: st.DrawFn, *, pickups: bool = True) -> Exercise:
    """An exercise of one to three lines, with the settings that a definition can say."""
    meter = draw(st.sampled_from(METERS))
    lines = []
    for _ in range(draw(st.integers(1, 3))):
        meter = draw(st.sampled_from([meter, meter, draw(st.sampled_from(METERS))]))
        lines.append(draw(_line(meter, pickups=pickups)))
    assume(any(True for line in lines for _ in line.melody_notes))
    ladder = draw(
        st.none()
        | st.builds(
            Ladder,
            st.lists(st.sampled_from([Fraction(50), Fraction(125, 2)]), min_size=1).map(tuple),
            st.booleans(),
            st.integers(1, 4),
        )
    )
    return Exercise(
        title=draw(TEXT),
        lines=tuple(lines),
        tempo=draw(st.sampled_from([Fraction(60), Fraction(40), Fraction(145, 2)])),
        gracenotes=Gracenotes(
            Length(Fraction(draw(st.integers(20, 60))), "ms"),
            draw(st.sampled_from(["on the beat", "before the beat"])),
        ),
        inner=draw(
            st.sampled_from(
                [
                    BOOK,
                    EVEN,
                    Inner((Length(Fraction(110), "ms"),)),
                    Inner((Length(Fraction(1, 2), "beat"),)),
                ]
            )
        ),
        ladder=ladder,
        audience=draw(st.just("") | TEXT),
    )


TEXT_OVER = TEXT.filter(lambda text: signs_of_words(text) == NO_SIGNS)


@st.composite
def _signs(draw: st.DrawFn, count: int) -> list[Signs]:
    """Signs for so many bars of a line: repeats, endings under them, jumps, double bar lines."""
    signs = [NO_SIGNS] * count
    at = 0
    while at < count:
        kind = draw(st.integers(0, 4))
        if kind == 0:
            at += 1
        elif kind == 1:
            signs[at] = replace(signs[at], double=at + 1 < count)
            at += 1
        else:
            end = draw(st.integers(at, count - 1))
            signs[at] = replace(signs[at], opens=draw(st.booleans()))
            at = end + 1
            left = count - at
            if kind == 2 or left < 2:
                signs[end] = replace(signs[end], closes=draw(st.integers(2, 4)))
                continue
            # Each ending has one bar or more.
            lengths = [draw(st.integers(1, left - 1))]
            lengths.append(draw(st.integers(1, left - lengths[0])))
            numbers = draw(st.sampled_from([((1,), (2,)), ((1, 3), (2, 4)), ((1, 2), (3,))]))
            closing = (2, draw(_CLOSES))
            for length, passes, closes in zip(lengths, numbers, closing, strict=True):
                for bar in range(at, at + length):
                    signs[bar] = replace(signs[bar], endings=passes)
                at += length
                signs[at - 1] = replace(signs[at - 1], closes=closes)
    for _ in range(draw(st.integers(0, 2))):
        place = draw(st.integers(0, count - 1))
        extra = draw(
            st.sampled_from(
                [Signs(segno=True), Signs(coda=True), Signs(to_coda=True), Signs(fine=True)]
            )
            | st.builds(Signs, jump=st.sampled_from(JUMPS))
        )
        signs[place] = signs[place].joined(extra)
    for index in range(count - 1):
        if signs[index].closes or signs[index + 1].opens:
            signs[index] = replace(signs[index], double=False)
    return signs


_CLOSES = st.sampled_from([0, 2])


@st.composite
def exercises_with_signs(draw: st.DrawFn) -> Exercise:
    """An exercise as a tune is written: repeats, endings, jumps, words, numbers, an order."""
    exercise = draw(written_exercises(pickups=draw(st.booleans())))
    lines = []
    for line in exercise.lines:
        row = draw(_signs(len(line.bars)))
        bars = []
        for bar, signs in zip(line.bars, row, strict=True):
            words = draw(st.just(()) | st.just(()) | st.lists(TEXT_OVER, max_size=2).map(tuple))
            first = bar.items[0]
            if signs.endings and isinstance(first, MelodyNote) and first.tied:
                # What is tied into another ending comes from before the first one.
                items = (replace(first, tied=False), *bar.items[1:])
                bars.append(replace(bar, signs=signs, words=words, items=items))
                continue
            bars.append(replace(bar, signs=signs, words=words))
        lines.append(replace(line, bars=tuple(bars)))
    if draw(st.booleans()):
        number = draw(st.integers(0, 30))
        for index, line in enumerate(lines):
            numbers = range(number, number + len(line.bars))
            # Some programs number a bar that a repeat divides as 4 and 4a.
            own = [draw(st.sampled_from([str(count)] * 4 + [f"{count}a"])) for count in numbers]
            bars = [replace(bar, number=one) for bar, one in zip(line.bars, own, strict=True)]
            lines[index] = replace(line, bars=tuple(bars))
            number += len(bars) + draw(st.integers(0, 2))
    count = len(lines)
    plain = tuple(range(1, count + 1))
    order = draw(
        st.just(())
        | st.lists(st.integers(1, count), min_size=1, max_size=5)
        .map(tuple)
        .filter(lambda order: order != plain)
    )
    text = st.just("") | TEXT
    return replace(
        exercise,
        lines=tuple(lines),
        order=order,
        composer=draw(text),
        tune_type=draw(text),
        origin=draw(text),
        notes="\n".join(draw(st.lists(TEXT, max_size=2))),
    )
