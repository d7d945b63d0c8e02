"""Practice plans: what is promised about every one of them, and what is refused."""

from __future__ import annotations

from fractions import Fraction
from itertools import groupby, pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from renderer.errors import RungwiseError
from renderer.notation.definition.reader import parse_definition
from renderer.notation.score import Exercise
from renderer.technique.realise import realise
from renderer.timing.practice import (
    MOST_REPEATS_TO_FILL,
    Block,
    Break,
    PracticePlan,
)
from tests.delivery.larkmoor import planned, rungs
from tests.sampling import examples


def book(limit: int = 12, ladder: str = "{ from = 50, to = 80, step = 10 }") -> Exercise:
    return realise(
        parse_definition(
            f"""
title = "Book"
meter = "4/4"
tempo = 80
ladder = {ladder}
[[lines]]
runs = {{ span = ["fourth", "sixth"], limit = {limit} }}
ornament = "doubling"
walk = true
"""
        )
    )


def blocks(plan: PracticePlan, line: int) -> list[Block]:
    return [
        item
        for day in plan.days
        for item in day.items
        if isinstance(item, Block) and item.line == line
    ]


plans = st.builds(
    planned,
    st.integers(1, 14).map(book),
    minutes=st.integers(12, 40),
    days=st.integers(2, 21),
)


@given(st.integers(1, 14), st.integers(6, 30), st.integers(2, 21))
@examples(60)
def test_days_keep_to_their_minutes_and_every_line_comes_up(
    limit: int, minutes: int, days: int
) -> None:
    exercise = book(limit)
    try:
        plan = planned(exercise, minutes, days)
    except RungwiseError as error:
        # Each of the lines takes about a minute and a quarter at its slowest rung.
        assert "do not hold them" in str(error)
        assert minutes * days < 2.5 * len(exercise.lines) + minutes
        return
    assert len(plan.days) == days
    assert all(day.seconds <= 60 * minutes for day in plan.days)
    assert all(plan.practices(line) >= 1 for line in range(1, len(exercise.lines) + 1))


@given(plans)
@examples(40)
def test_a_harder_line_never_comes_up_less_often(plan: PracticePlan) -> None:
    rows = [(line.difficulty, line.practices) for line in plan.lines]
    for harder, more in rows:
        for easier, less in rows:
            assert more >= less or harder <= easier


def test_the_hardest_line_comes_up_more_often_than_the_easiest_when_time_is_short() -> None:
    plan = planned(book(14), 8, 14)
    assert plan.lines[-1].practices >= 2 * plan.lines[0].practices


@given(plans)
@examples(40)
def test_lines_join_from_the_easiest_and_are_practised_from_easy_to_hard(
    plan: PracticePlan,
) -> None:
    difficulty = {line.number: line.difficulty for line in plan.lines}
    assert list(difficulty.values()) == sorted(difficulty.values())
    for day in plan.days:
        points = [difficulty[item.line] for item in day.items if isinstance(item, Block)]
        assert points == sorted(points)
    first: dict[int, int] = {}
    for day in plan.days:
        for item in day.items:
            if isinstance(item, Block):
                first.setdefault(item.line, day.number)
    days = [first[number] for number in difficulty]
    # A line that comes up every day begins on the first, full or not.
    latest = 1
    for number, joined in zip(difficulty, days, strict=True):
        assert joined >= latest or plan.practices(number) > len(plan.days) - latest
        latest = max(latest, joined)


@given(plans)
@examples(40)
def test_the_lines_of_a_plan_say_what_its_days_hold(plan: PracticePlan) -> None:
    for line in plan.lines:
        played = blocks(plan, line.number)
        assert played
        assert line.playings == sum(block.repeats for block in played)
        assert line.practices == sum(not block.is_step_back for block in played)
        assert line.reaches == max(block.tempo for block in played)


def test_each_line_is_played_as_often_as_asked_for_or_the_plan_is_refused() -> None:
    plan = planned(book(6), 40, 6, repeats=3, playings=20)
    assert all(line.playings >= 20 for line in plan.lines)
    with pytest.raises(RungwiseError, match=r"6 lines 40 times does not fit into 6 days of 40 min"):
        planned(book(6), 40, 6, repeats=3, playings=40)


def test_a_plan_says_which_lines_do_not_reach_the_top_rung_and_which_are_seldom_played() -> None:
    # Two days, four rungs: nobody gets beyond the second, and two by two playings and a step back
    # are six.
    plan = planned(book(3), 20, 2, repeats=2)
    assert plan.remarks[:2] == (
        "Lines 1 to 3 do not reach the top rung in this time, but 60: plan more days or minutes, "
        "or go on after the last day.",
        "Lines 1 to 3 are played fewer than 12 times in all, some 6 times: plan more days or "
        "minutes, or fewer lines.",
    )
    # Four days, a rung each: 50, 60 and back to 50, 70 and back, 80 and back.
    plan = planned(book(3), 20, 4, repeats=2)
    assert {line.playings for line in plan.lines} == {14}
    assert not [remark for remark in plan.remarks if "reach" in remark or "fewer" in remark]


@given(plans)
@examples(40)
def test_a_line_climbs_rung_by_rung_and_steps_back_after_each_new_one(plan: PracticePlan) -> None:
    tempos = list(rungs(plan.exercise))
    for line in range(1, len(plan.exercise.lines) + 1):
        played = blocks(plan, line)
        new = [tempos.index(one.tempo) for one in played if not one.is_step_back]
        assert new[0] == 0, "it begins on the slowest rung"
        assert all(0 <= after - before <= 1 for before, after in pairwise(new))
        for before, after in pairwise(played):
            if after.is_step_back:
                assert tempos.index(after.tempo) == tempos.index(before.tempo) - 1
        backs = sum(one.is_step_back for one in played)
        assert backs == len(set(new)) - 1, "one step back for each rung above the first"


@given(plans)
@examples(40)
def test_hands_rest_after_ten_minutes_and_a_line_comes_up_once_a_day(plan: PracticePlan) -> None:
    for day in plan.days:
        for is_break, items in groupby(day.items, key=lambda item: isinstance(item, Break)):
            stretch = list(items)
            seconds = sum(item.seconds for item in stretch)
            if is_break:
                assert [item.seconds for item in stretch] == [3 * 60]
            elif seconds > 10 * 60:
                assert len({item.line for item in stretch if isinstance(item, Block)}) == 1
        lines = [line for line, _ in groupby(i.line for i in day.items if isinstance(i, Block))]
        assert len(lines) == len(set(lines))


def lines_of(*lines: tuple[str, str], tempo: int = 60) -> Exercise:
    """Lines of bars of four beats: their run, and the movement on each note."""
    text = f'meter = "4/4"\nladder.tempos = [{tempo}]\n'
    for run, movement in lines:
        ornament = f'ornament = "{movement}"' if movement else ""
        text += f'[[lines]]\nrun = "{run}"\n{ornament}\n'
    return realise(parse_definition(text))


def days_of(plan: PracticePlan) -> list[list[str | int]]:
    """The lines of each day, and where hands rest."""
    return [
        ["rest" if isinstance(item, Break) else item.line for item in day.items]
        for day in plan.days
    ]


def test_after_ten_minutes_and_not_before_hands_rest_for_three() -> None:
    # A bar of count-in and 59 held notes last five minutes at 48, so two lines last ten.
    run = " | ".join(["B", "C"] * 29)
    music = lines_of(*[(f"{run} | B", "")] * 4, tempo=48)
    (day,) = planned(music, 40, 1, repeats=1, playings=1).days
    assert [item.seconds for item in day.items] == [300, 300, 180, 300, 300]
    # Of days this full, room is kept for a rest after every five minutes: wherever they fall.
    assert planned(music, 32, 1, repeats=1, playings=1).days
    with pytest.raises(RungwiseError, match="1 day of 31 minutes"):
        planned(music, 31, 1, repeats=1, playings=1)
    # A bar more, and every line stands alone.
    music = lines_of(*[(f"{run} | B | C", "")] * 3, tempo=48)
    (day,) = planned(music, 40, 1, repeats=1, playings=1).days
    assert [item.seconds for item in day.items] == [305, 180, 305, 180, 305]


def test_a_line_longer_than_ten_minutes_leaves_room_for_a_rest_after_every_five() -> None:
    # A bar of count-in and 13 held notes five times last eleven minutes at 24: two rests of three.
    music = lines_of((" | ".join(["B", "C"] * 6) + " | B", ""), tempo=24)
    (day,) = planned(music, 17, 1, repeats=5, playings=1).days
    assert [item.seconds for item in day.items] == [660]
    with pytest.raises(RungwiseError, match="1 day of 16 minutes"):
        planned(music, 16, 1, repeats=5, playings=1)
    # Ten minutes to the second are no other.
    music = lines_of((" | ".join(["B", "C"] * 29) + " | B", ""), tempo=24)
    (day,) = planned(music, 16, 1, repeats=1, playings=1).days
    assert [item.seconds for item in day.items] == [600]
    with pytest.raises(RungwiseError, match="1 day of 15 minutes"):
        planned(music, 15, 1, repeats=1, playings=1)


@pytest.mark.parametrize(
    ("days", "turns"), [(4, [1, 2, 2, 2]), (5, [1, 2, 2, 2, 2]), (12, [1, 2, 2, 2] * 3)]
)
def test_the_hardest_line_comes_up_three_times_as_often_as_the_easiest_evenly_spread(
    days: int, turns: list[int]
) -> None:
    # A bar of count-in and 13 bars take all but four seconds of a day's minute.
    run = " | ".join(["B, C, B, C"] * 13)
    plan = planned(lines_of((run, ""), (run, "grip")), 1, days, repeats=1, playings=1)
    assert days_of(plan) == [[line] for line in turns]


def test_a_block_lasts_its_count_in_and_its_repeats() -> None:
    exercise = realise(
        parse_definition(
            'tempo = 60\nmeter = "3/4"\nladder = { tempos = [50], repeats = 3 }\n'
            '[[lines]]\nrun = "B, C, D | E"\n'
        )
    )
    plan = planned(exercise, 5, 1, repeats=3)
    (block,) = blocks(plan, 1)
    assert block.repeats == 3
    assert block.seconds == Fraction((3 + 3 * 6) * 60, 50)


def test_days_with_time_left_are_filled_with_more_repeats() -> None:
    few = book(2)
    lasting = {
        minutes: max(float(day.seconds) / 60 for day in planned(few, minutes, 7).days)
        for minutes in (4, 8)
    }
    for minutes, longest in lasting.items():
        assert minutes / 2 < longest <= minutes
    repeats = {m: blocks(planned(few, m, 7), 1)[0].repeats for m in (2, 4, 8)}
    assert repeats[2] <= repeats[4] < repeats[8] <= MOST_REPEATS_TO_FILL


def test_one_more_repeat_is_played_where_there_is_time_for_one_alone() -> None:
    # A bar of count-in and four bars three times over are 52 seconds of the minute.
    run = " | ".join(["B, C, B, C"] * 4)
    plan = planned(lines_of((run, "")), 1, 2)
    assert [block.repeats for block in blocks(plan, 1)] == [3, 3]


def test_a_plan_that_leaves_half_of_the_time_says_so() -> None:
    # At 50, 60, 70 and 80 beats a minute the line is played ten times, and once more a rung lower:
    # a bar and ten times as many at 80 and 70 take longest.
    plan = planned(book(1), 60, 5)
    longest = max(plan.days, key=lambda day: day.seconds)
    assert plan.remarks[-1].startswith(
        f"The longest day takes {-(-longest.seconds // 60)} of 60 minutes"
    )
    assert 1 < longest.seconds // 60 < 30
    assert not planned(book(4), 20, 5).remarks


def test_where_time_is_short_lines_are_played_as_often_as_the_ladder_says() -> None:
    plan = planned(book(12, "{ tempos = [50, 60], repeats = 3 }"), 10, 3)
    assert {block.repeats for line in range(1, 13) for block in blocks(plan, line)} == {3}


def test_rungs_at_which_a_line_does_not_fit_are_not_planned() -> None:
    exercise = realise(
        parse_definition(
            "tempo = 60\nladder = { tempos = [40, 400] }\n[[lines]]\n"
            'run = "low A, B"\nornament = "birl with a G gracenote"\non = "low A"\n'
            "notes-per-beat = 2\n"
        )
    )
    plan = planned(exercise, 5, 4)
    assert {block.tempo for block in blocks(plan, 1)} == {40}
    assert "not practised faster" in plan.remarks[0]


def test_without_a_ladder_practice_climbs_to_the_tempo_of_the_exercise() -> None:
    exercise = realise(parse_definition('tempo = 80\n[[lines]]\nrun = "B, C"\n'))
    plan = planned(exercise, 5, 5)
    tempos = [block.tempo for block in blocks(plan, 1) if not block.is_step_back]
    assert tempos == [48, 56, 64, 72, 80]


@pytest.mark.parametrize(
    ("minutes", "days", "says"),
    [
        (0, 5, "from 1 to 480"),
        (20, 0, "from 1 to 100"),
        (20, 101, "from 1 to 100"),
        (5, 2, "rungwise abridge"),
    ],
)
def test_too_little_time_and_odd_numbers_are_refused(minutes: int, days: int, says: str) -> None:
    with pytest.raises(RungwiseError, match=says):
        planned(book(14), minutes, days)


def test_a_line_longer_than_a_day_is_said_to_be() -> None:
    exercise = realise(
        parse_definition(f'ladder.tempos = [20]\n[[lines]]\nrun = "{", ".join(["B, C"] * 32)}"\n')
    )
    with pytest.raises(RungwiseError, match=r"one line alone takes 9\.6 minutes"):
        planned(exercise, 5, 4)


def test_a_line_that_fits_at_no_rung_is_named() -> None:
    exercise = realise(
        parse_definition(
            'ladder = { tempos = [390, 400] }\n[[lines]]\nrun = "B, low A, B, low A"\n'
            'ornament = "birl with a G gracenote"\non = "low A"\nnotes-per-beat = 4\n'
        )
    )
    with pytest.raises(RungwiseError, match=r"fits at none .* ladder at \d{3} beats a minute or"):
        planned(exercise, 5, 4)


def test_a_line_that_fits_at_no_tempo_is_not_told_to_be_played_slower() -> None:
    text = 'ornaments.inner = "2 beats"\n[[lines]]\nrun = "low A, B"\nornament = "doubling"\n'
    with pytest.raises(RungwiseError, match=r"fits at none .* Write longer notes, or shorten"):
        planned(realise(parse_definition(text)), 5, 4)


def test_rungs_that_are_more_than_the_days_are_said_of_ladders_and_of_tracks_that_climb() -> None:
    for asked_for in ({"ladder": "50:88:2"}, {"climb": "50:88:2"}):
        made = planned(book(2), 30, 14, **asked_for)
        assert any(one.startswith("20 rungs are too many for 14 days") for one in made.remarks)
        assert {one.tempo for line in (1, 2) for one in blocks(made, line)} <= {*range(50, 90, 2)}
    assert not any("too many" in one for one in planned(book(2), 30, 20, climb="50:88:2").remarks)
