"""Where two settings of a track meet: every pair of their values, with starts worked out by hand.

Two lines in 2/4 at 60 beats a minute: two crotchets of 1 s each, then two at a mark of 120, 0.5 s
each. So the first line lasts 2 s, the second one 1 s, and a bar of clicks before it 1 s as well.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from fractions import Fraction
from itertools import combinations, product

import pytest

from renderer.errors import RungwiseError
from renderer.notation.limits import LONGEST_TRACK_HOURS
from renderer.notation.pitch import Note
from renderer.notation.score import Bar, Exercise, Line, MelodyNote, Meter, Slot
from renderer.order.tracks import expand
from renderer.timing.expand import CountInStyle, NoisePlace, Timeline, expand_at
from renderer.timing.timeline import ClickKind, Role, SectionKind

BEAT = Fraction(1)
TWO_FOUR = Meter(2, 4)


def _bar(*notes: Note, tempo: int | None = None) -> Bar:
    items = tuple(MelodyNote(BEAT, (Slot(note),)) for note in notes)
    return Bar(items, TWO_FOUR, None if tempo is None else Fraction(tempo))


PLAIN = Line((_bar(Note.D, Note.E),), "Plain")
MARKED = Line((_bar(Note.B, Note.C, tempo=120),), "Marked")
TUNE = Exercise("Meeting", (PLAIN, MARKED))

NOISE: dict[NoisePlace, Note] = {(1, 1, 2, 1, False): Note.LOW_A}
"""Low A between D and E, right before the E of the first line."""


@dataclass(frozen=True)
class Asked:
    """What is asked for."""

    count_in: int
    style: CountInStyle
    repeats: int
    echo: bool
    gap: int
    subdivide: bool
    noisy: bool

    def timeline(self, tempo: int = 60) -> Timeline:
        return expand_at(
            TUNE,
            Fraction(tempo),
            count_in=self.count_in,
            count_in_style=self.style,
            repeats=self.repeats,
            echo=self.echo,
            gap=self.gap,
            subdivide=self.subdivide,
            noises=NOISE if self.noisy else None,
            introduction=None,
        )


@dataclass(frozen=True)
class Heard:
    """What comes of it: sections with their starts in seconds, the end, clicks, noises, rolls."""

    sections: str
    end: int
    clicks: int
    noises: tuple[int, ...] = ()
    rolls: tuple[int, ...] = ()


# c: count-in, g: gap, 1 and 2: the lines, e: the learner's turn.
TABLE = {
    Asked(1, "clicks", 1, False, 1, False, False): Heard("c0 1@2 g4 2@5", 6, 8),
    Asked(2, "clicks", 2, True, 0, True, False): Heard(
        "c0 1@4 e6 1@8 e10 2@12 e13 2@14 e15", 16, 4 + 8 * 4
    ),
    # Without a count-in there are no rolls either.
    Asked(0, "rolls", 2, False, 1, True, False): Heard("1@0 1@2 g4 2@5 2@6", 7, 4 * 4 + 2),
    # Three beats of roll fill two bars of two; two rolls are four bars.
    Asked(1, "rolls", 1, True, 1, False, False): Heard(
        "c0 1@8 e10 g12 2@13 e14", 15, 4 * 2 + 2, rolls=(0, 4)
    ),
    # With noises each line comes twice as often, and every second time with the noise.
    Asked(1, "rolls", 2, False, 0, True, True): Heard(
        "c0 1@8 1@10 1@12 1@14 2@16 2@17 2@18 2@19", 20, 8 * 4, (11, 15), (0, 4)
    ),
    Asked(0, "clicks", 1, True, 1, True, True): Heard(
        "1@0 e2 1@4 e6 g8 2@9 e10 2@11 e12", 13, 8 * 4 + 2, (5,)
    ),
    # Rolls are two however many bars are asked for.
    Asked(2, "rolls", 1, False, 0, False, False): Heard("c0 1@8 2@10", 11, 4, rolls=(0, 4)),
    Asked(2, "clicks", 2, False, 1, False, True): Heard(
        "c0 1@4 1@6 1@8 1@10 g12 2@13 2@14 2@15 2@16", 17, 4 + 16 + 2, (7, 11)
    ),
    Asked(0, "clicks", 2, False, 0, False, False): Heard("1@0 1@2 2@4 2@5", 6, 8),
    Asked(1, "clicks", 2, True, 0, False, True): Heard(
        "c0 1@2 e4 1@6 e8 1@10 e12 1@14 e16 2@18 e19 2@20 e21 2@22 e23 2@24 e25",
        26,
        2 + 16 * 2,
        (7, 15),
    ),
    Asked(2, "rolls", 1, True, 1, True, True): Heard(
        "c0 1@8 e10 1@12 e14 g16 2@17 e18 2@19 e20", 21, 8 * 4 + 2, (13,), (0, 4)
    ),
}


def test_the_table_has_every_pair_of_values() -> None:
    names = [field.name for field in fields(Asked)]
    values = {name: {getattr(row, name) for row in TABLE} for name in names}
    assert len(values["count_in"]) == 3
    for one, other in combinations(names, 2):
        pairs = {(getattr(row, one), getattr(row, other)) for row in TABLE}
        assert pairs == set(product(values[one], values[other])), (one, other)


_LETTER = {SectionKind.COUNT_IN: "c", SectionKind.GAP: "g", SectionKind.ECHO: "e"}


@pytest.mark.parametrize(("asked", "heard"), TABLE.items(), ids=map(str, range(len(TABLE))))
def test_sections_clicks_and_noises_begin_where_counting_by_hand_puts_them(
    asked: Asked, heard: Heard
) -> None:
    timeline = asked.timeline()
    sections = [
        f"{section.line}@{section.start}"
        if section.kind is SectionKind.LINE
        else f"{_LETTER[section.kind]}{section.start}"
        for section in timeline.sections
    ]
    assert " ".join(sections) == heard.sections
    assert timeline.duration == heard.end
    assert len(list(timeline.clicks())) == heard.clicks
    assert tuple(roll.start for roll in timeline.rolls) == heard.rolls
    assert all(roll.length == 3 for roll in timeline.rolls)
    assert timeline.drones_start == (heard.rolls[1] if heard.rolls else 0)
    noises = [event for event in timeline if event.role is Role.CROSSING_NOISE]
    assert tuple(event.start for event in noises) == heard.noises
    assert {(event.note, event.length) for event in noises} <= {(Note.LOW_A, Fraction(25, 1000))}
    played = [event for event in timeline if event.role is Role.MELODY]
    for section in timeline.sections:
        inside = [
            event.note
            for event in played
            if section.start <= event.start < section.start + section.length
        ]
        tune = {1: [Note.D, Note.E], 2: [Note.B, Note.C]}[section.line]
        assert inside == (tune if section.kind is SectionKind.LINE else [])


def test_a_count_in_has_the_tempo_of_the_mark_over_the_first_bar() -> None:
    tune = Exercise("Marked first", (MARKED, PLAIN))
    # At 120 a bar of two beats lasts 1 s, and the mark holds for the line that follows.
    for bars in (1, 2):
        timeline = expand(tune, count_in=bars, gap=1)
        assert [section.start for section in timeline.sections] == [0, bars, bars + 1, bars + 2]
        clicks = [click.start for click in timeline.clicks()][: 2 * bars]
        assert clicks == [Fraction(step, 2) for step in range(2 * bars)]
    rolled = expand(tune, count_in=1, count_in_style="rolls")
    # Three beats of 0.5 s in each roll, two bars of 1 s for each.
    assert [(roll.start, roll.length) for roll in rolled.rolls] == [(0, 1.5), (2, 1.5)]
    assert rolled.sections[1].start == 4


def test_clicks_are_accents_on_the_first_beat_and_halves_only_where_asked_for() -> None:
    timeline = Asked(1, "clicks", 1, False, 1, True, False).timeline()
    first = [click.kind for click in timeline.clicks()][:6]
    accent, beat, half = ClickKind.ACCENT, ClickKind.BEAT, ClickKind.SUBDIVISION
    assert first == [accent, beat, accent, half, beat, half]


# Both lines last 3 s at 60 and 9 s at 20: 400 repeats are an hour to the second.
@pytest.mark.parametrize(
    ("echo", "noisy", "an_hour"),
    [(False, False, 400), (True, False, 200), (False, True, 200), (True, True, 100)],
)
def test_what_doubles_a_track_counts_towards_the_longest_that_is_made(
    echo: bool, noisy: bool, an_hour: int
) -> None:
    most = an_hour * LONGEST_TRACK_HOURS
    asked = Asked(1, "clicks", most, echo, 1, False, noisy)
    assert asked.timeline(20).duration >= LONGEST_TRACK_HOURS * 3600
    with pytest.raises(RungwiseError, match="the track would last"):
        replace(asked, repeats=most + 1).timeline(20)
