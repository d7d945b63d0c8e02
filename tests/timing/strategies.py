"""Random exercises for property tests: any legal notes, meters, gracenotes and lengths."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from hypothesis import strategies as st

from renderer.notation.length import Length
from renderer.notation.pitch import Note
from renderer.notation.playing import BOOK, EVEN, Inner
from renderer.notation.score import (
    Bar,
    Exercise,
    Gracenotes,
    Item,
    Line,
    MelodyNote,
    Meter,
    Rest,
    Slot,
)

INNERS = [
    BOOK,
    EVEN,
    Inner((Length(Fraction(100), "ms"),)),
    Inner((Length(Fraction(1, 8), "beat"),)),
]
LENGTHS = [Fraction(1), Fraction(1, 2), Fraction(3, 2), Fraction(2), Fraction(2, 3), Fraction(3)]


@st.composite
def slots(draw: st.DrawFn) -> tuple[Slot, ...]:
    """One to three slots, a gracenote never equal to the note it leads."""
    found = []
    for _ in range(draw(st.integers(1, 3))):
        note = draw(st.sampled_from(Note))
        gracenote = draw(st.none() | st.sampled_from([n for n in Note if n != note]))
        found.append(Slot(note, gracenote))
    return tuple(found)


@st.composite
def bars(draw: st.DrawFn, tempo_marks: bool = True) -> Bar:
    """A bar of one to four notes or rests; it need not be full."""
    items: list[Item] = []
    for _ in range(draw(st.integers(1, 4))):
        beats = draw(st.sampled_from(LENGTHS))
        if draw(st.integers(0, 9)) == 0:
            items.append(Rest(beats))
        else:
            items.append(MelodyNote(beats, draw(slots())))
    meter = draw(st.sampled_from([Meter(2, 4), Meter(3, 4), Meter(4, 4), Meter(6, 8)]))
    tempo = draw(st.none() | st.sampled_from([Fraction(40), Fraction(90)])) if tempo_marks else None
    return Bar(tuple(items), meter, tempo)


@st.composite
def tied_bars(draw: st.DrawFn) -> Bar:
    """A bar in which notes go on sounding from those before them, its first one too."""
    bar = draw(bars())
    items = [
        MelodyNote(item.beats, (Slot(Note.B),), tied=True) if draw(st.booleans()) else item
        for item in bar.items
    ]
    return replace(bar, items=tuple(items))


@st.composite
def exercises(draw: st.DrawFn, tied: bool = False) -> Exercise:
    """An exercise of one to three lines, open or closed, at either placement; `tied`: with ties."""
    each = tied_bars() if tied else bars()
    lines = tuple(
        Line(tuple(draw(st.lists(each, min_size=1, max_size=3))), f"Line {number}")
        for number in range(draw(st.integers(1, 3)))
    )
    inner = draw(
        st.sampled_from(
            [
                BOOK,
                EVEN,
                Inner((Length(Fraction(100), "ms"),)),
                Inner((Length(Fraction(1, 8), "beat"),)),
            ]
        )
    )
    gracenotes = Gracenotes(
        Length(Fraction(draw(st.integers(20, 60))), "ms"),
        draw(st.sampled_from(["on the beat", "before the beat"])),
    )
    return Exercise("Random", lines, Fraction(60), gracenotes, inner)
