"""A track that climbs: each of its rungs is what it is by itself, only later."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from renderer.errors import RungwiseError
from renderer.notation.definition.reader import parse_definition
from renderer.notation.length import Length
from renderer.notation.playing import BOOK, EVEN, Inner
from renderer.notation.score import Exercise
from renderer.order.tracks import expand
from renderer.sound.frames import frame_at
from renderer.technique.realise import realise
from renderer.timing.climb import Step, steps_of
from renderer.timing.expand import Timeline
from renderer.timing.timeline import Click, Event, Role, SectionKind
from tests.sampling import examples
from tests.timing.strategies import exercises

RATE = 44_100
TEMPOS = [Fraction(50), Fraction(160, 3), Fraction("62.5")]
"""Rungs whose beats share no simple part of a second."""


def rungs_by_themselves(exercise: Exercise, gap: int, **given: Any) -> list[Timeline]:
    """Each rung as `expand` has it alone; all but the first after `gap` bars of clicks."""
    first, *others = TEMPOS
    later = given | {"count_in": gap, "count_in_style": "clicks", "introduction": "none"}
    return [
        expand(exercise, first, gap=gap, **given),
        *(expand(exercise, one, gap=gap, **later) for one in others),
    ]


def at_once(timelines: list[Timeline]) -> Iterator[tuple[Fraction, Timeline]]:
    begin = Fraction(0)
    for timeline in timelines:
        yield begin, timeline
        begin += timeline.duration


def as_heard(event: Event, later: Fraction = Fraction(0)) -> tuple[object, ...]:
    start, end = event.start + later, event.end + later
    frames = frame_at(start, RATE), frame_at(end, RATE)
    return (start, end, *frames, event.note, event.role, event.note_id)


def as_clicked(click: Click, later: Fraction = Fraction(0)) -> tuple[object, ...]:
    return click.start + later, click.kind


ASKED: list[dict[str, Any]] = [
    {},
    {"repeats": 3, "gap": 2},
    {"gap": 0},
    {"count_in": 0, "gap": 0, "repeats": 2},
    {"count_in": 2, "count_in_style": "rolls", "mix": "echo"},
    {"introduction": "E", "show_crossing": True, "subdivide": True},
]


@pytest.mark.parametrize("asked", ASKED, ids=str)
@examples(40)
@given(exercise=exercises())
def test_every_round_of_a_climb_begins_where_it_does_by_itself_to_the_sample(
    asked: dict[str, Any], exercise: Exercise
) -> None:
    gap = asked.get("gap", 1)
    try:
        alone = rungs_by_themselves(exercise, **{"gap": 1} | asked)
    except RungwiseError:
        with pytest.raises(RungwiseError):
            expand(exercise, climb=list(map(str, TEMPOS)), **asked)
        assume(False)
    whole = expand(exercise, climb=TEMPOS, **asked)
    assert whole.duration == sum(one.duration for one in alone)
    apart = [as_heard(event, later) for later, one in at_once(alone) for event in one]
    assert list(map(as_heard, whole)) == apart
    clicks = [as_clicked(click, later) for later, one in at_once(alone) for click in one.clicks()]
    assert list(map(as_clicked, whole.clicks())) == clicks
    assert whole.rolls == alone[0].rolls
    for (later, one), tempo in zip(at_once(alone), TEMPOS, strict=True):
        mine = [section for section in whole.sections if section.tempo == tempo]
        assert [section.start for section in mine] == [
            section.start + later for section in one.sections
        ]
        kinds = {section.kind for section in mine if later}
        assert SectionKind.COUNT_IN not in kinds
        assert (SectionKind.GAP in {section.kind for section in mine[:1]}) == bool(later and gap)


GRIPS = realise(
    parse_definition('meter = "4/4"\n[[lines]]\nrun = "B, C, D, low A"\nornament = "grip"')
)
STAGES = (EVEN, Inner((Length(Fraction(1, 4), "beat"),)), Inner((Length(Fraction(80), "ms"),)))


def test_movements_close_round_by_round_each_as_it_is_by_itself() -> None:
    whole = expand(GRIPS, 60, repeats=2, open_to_close=STAGES)
    alone = [expand(Step(Fraction(60), one).of(GRIPS), 60, repeats=2) for one in STAGES]
    assert whole.duration == sum(one.duration for one in alone)
    apart = [as_heard(event, later) for later, one in at_once(alone) for event in one]
    assert list(map(as_heard, whole)) == apart
    assert [section.inner for section in whole.sections if section.turn == 2] == list(STAGES)


def test_the_lines_of_a_track_say_how_their_movements_are_played() -> None:
    whole = expand(GRIPS, 60, open_to_close=STAGES)
    assert [line.inner for line in whole.exercise.lines] == list(STAGES)
    climbing = expand(GRIPS, climb=TEMPOS)
    assert [line.inner for line in climbing.exercise.lines] == [GRIPS.lines[0].inner] * 3


def test_two_rungs_are_played_as_well_as_three() -> None:
    slow, fast = (expand(GRIPS, tempo, count_in=1).duration for tempo in (50, 60))
    assert expand(GRIPS, climb="50,60", count_in=1, gap=1).duration == slow + fast


def test_the_low_g_of_a_grip_gets_shorter_from_stage_to_stage_and_the_beat_stays() -> None:
    whole = expand(GRIPS, 60, open_to_close="even : 1/4 beat : 120 ms : 80 ms", count_in=1)
    low_gs = [
        event.length
        for event in whole
        if event.role is Role.INNER and (event.bar, event.item, event.slot) == (1, 2, 1)
    ]
    assert low_gs == [Fraction(1, 3), Fraction(1, 4), Fraction(120, 1000), Fraction(80, 1000)]
    assert all((section.start - whole.sections[0].start) % 4 == 0 for section in whole.sections)


def test_stages_go_with_the_tempo_in_a_track_that_climbs() -> None:
    steps = steps_of([Fraction(t) for t in range(50, 90, 2)], STAGES)
    assert [step.tempo for step in steps] == list(range(50, 90, 2))
    assert steps[0].inner == STAGES[0]
    assert steps[-1].inner == STAGES[-1]
    counts = [sum(step.inner == stage for step in steps) for stage in STAGES]
    assert max(counts) - min(counts) <= 1
    # More stages than rungs: a rung comes several times in a row.
    few = steps_of([Fraction(50), Fraction(60)], [*STAGES, BOOK])
    assert [step.tempo for step in few] == [50, 50, 60, 60]
    assert [step.inner for step in few] == [*STAGES, BOOK]


@given(
    st.lists(st.integers(10, 400), min_size=1, max_size=100),
    st.lists(st.sampled_from([*STAGES, BOOK]), max_size=16),
)
def test_no_rung_and_no_stage_is_left_out(tempos: list[int], inner: list[Inner]) -> None:
    rows = [Fraction(tempo) for tempo in tempos]
    steps = steps_of(rows, inner)
    assert len(steps) == max(len(tempos), len(inner))
    assert [one for one, _ in groups(step.tempo for step in steps)] == [
        one for one, _ in groups(iter(rows))
    ]
    assert [one for one, _ in groups(step.inner for step in steps)] == [
        one for one, _ in groups(iter(inner if inner else (None,)))
    ]


def groups(row: Iterator[Any]) -> list[tuple[Any, int]]:
    found: list[tuple[Any, int]] = []
    for one in row:
        if found and found[-1][0] == one:
            found[-1] = one, found[-1][1] + 1
        else:
            found.append((one, 1))
    return found


def test_playings_of_a_bar_are_counted_through_all_rungs() -> None:
    whole = expand(GRIPS, climb="50:70:10", repeats=2)
    firsts = [event.turn for event in whole if (event.item, event.role) == (1, Role.MELODY)]
    assert firsts == list(range(1, 7))


BIRLS = "{GAGA}A/8 {GAGA}A/8 {GAGA}A/4 A/2 {gAd}A/4 e3/4 e |"
TIGHT = realise(parse_definition(f'meter = "4/4"\n[[lines]]\nabc = "L:1/4 {BIRLS}"'))
"""Three birls within half a beat: at 68.2 beats a minute they fill it."""


def test_what_is_shortened_is_said_once_of_the_fastest_rung() -> None:
    tight = realise(parse_definition('meter = "4/4"\n[[lines]]\nabc = "L:1/4 e {gAd}A/4 e7/4 e |"'))
    said = expand(tight, climb="60,140,168").remarks
    assert len(said) == 1
    assert said[0].startswith("At 168 beats a minute")
    assert said[0].endswith("Some are on 1 slower rung too.")


def test_a_rung_that_is_too_fast_is_named_with_those_that_can_be_played() -> None:
    with pytest.raises(RungwiseError) as caught:
        expand(TIGHT, climb="50,68,69,140")
    assert "the rungs at 69, 140 are too fast" in str(caught.value)
    assert "--climb 50,68" in str(caught.value)


def test_a_stage_that_has_no_room_is_named() -> None:
    with pytest.raises(RungwiseError, match="with inner notes 1/2 beat"):
        expand(GRIPS, 60, open_to_close="even : 1/2 beat")


def test_a_climb_of_more_than_half_a_day_is_refused() -> None:
    with pytest.raises(RungwiseError, match="hours"):
        expand(GRIPS, climb="50:88:2", repeats=1000)
