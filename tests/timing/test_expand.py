"""What `expand` promises: events tile time, gracenotes keep their length, nothing drifts."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from renderer.errors import RungwiseError
from renderer.notation.length import Length
from renderer.notation.pitch import Note
from renderer.notation.playing import Inner
from renderer.notation.printed import printed_line
from renderer.notation.score import (
    Bar,
    Exercise,
    Gracenotes,
    Line,
    MelodyNote,
    Meter,
    Rest,
    Slot,
    bar_offsets,
)
from renderer.order.tracks import expand
from renderer.timing.expand import NoisePlace, Timeline, expand_at
from renderer.timing.fit import fastest_tempos
from renderer.timing.timeline import ClickKind, Event, Role, SectionKind
from tests.sampling import examples
from tests.timing.strategies import exercises

HALF_BEAT = Inner((Length(Fraction(1, 2), "beat"),))
THREE_FOUR = Meter(3, 4)


def plain(note: Note, beats: Fraction | int = 1) -> MelodyNote:
    return MelodyNote(Fraction(beats), (Slot(note),))


def doubling(note: Note, beats: Fraction | int = 1) -> MelodyNote:
    return MelodyNote(Fraction(beats), (Slot(note, Note.HIGH_G), Slot(note, Note.D)), "doubling")


def exercise_of(*items: MelodyNote | Rest, meter: Meter = THREE_FOUR) -> Exercise:
    return Exercise("Test", (Line((Bar(items, meter),)),), Fraction(60))


def sounding(timeline: Timeline) -> list[Event]:
    return [event for event in timeline if event.note is not None]


@given(exercises(), st.integers(10, 100), st.integers(0, 2), st.booleans(), st.integers(0, 1))
@examples(150)
def test_events_tile_time_exactly(
    exercise: Exercise, tempo: int, count_in: int, echo: bool, gap: int
) -> None:
    try:
        timeline = expand(
            exercise, tempo, count_in=count_in, repeats=2, mix="echo" if echo else "full", gap=gap
        )
    except RungwiseError:
        assume(False)
        raise
    now = Fraction(0)
    for event in timeline:
        assert event.start == now
        assert event.length > 0
        now = event.end
    assert now == timeline.duration


@given(exercises(), st.integers(10, 100))
@examples(100)
def test_every_written_note_sounds_once_a_turn(exercise: Exercise, tempo: int) -> None:
    try:
        timeline = expand(exercise, tempo, repeats=2)
    except RungwiseError:
        assume(False)
        raise
    written = [slot for line in exercise for note in line.melody_notes for slot in note.slots]
    events = sounding(timeline)
    notes = [event for event in events if event.role is not Role.GRACENOTE]
    graces = [event for event in events if event.role is Role.GRACENOTE]
    assert len(notes) == 2 * len(written)
    assert len(graces) == 2 * sum(slot.gracenote is not None for slot in written)
    ids = [(event.note_id, event.turn) for event in events]
    assert len(set(ids)) == len(ids)


@given(exercises())
@examples(60)
def test_the_fastest_tempo_is_where_the_error_begins(exercise: Exercise) -> None:
    finite = [limit for limit in fastest_tempos(exercise) if limit is not None]
    assume(finite and 10 < min(finite) < 390)
    fastest = min(finite)
    assume(fastest.denominator <= 1000)
    expand(exercise, fastest, repeats=2)
    with pytest.raises(RungwiseError):
        expand(exercise, fastest + 1, repeats=2)


@pytest.mark.parametrize("tempo", [30, 50, 60, 70, 80, 133])
def test_an_opened_doubling_sounds_twice_half_a_beat_apart(tempo: int) -> None:
    # Common practice: opened out, the two soundings of the note are equal, half the beat each.
    exercise = replace(
        exercise_of(plain(Note.LOW_A), doubling(Note.B), plain(Note.D)), inner=HALF_BEAT
    )
    events = sounding(expand(exercise, tempo))
    first, second = (e for e in events if e.note is Note.B)
    assert second.start - first.start == Fraction(60, tempo) / 2
    assert first.length == second.length


@pytest.mark.parametrize("placement", ["on the beat", "before the beat"])
def test_a_gracenote_keeps_its_length_when_the_tempo_doubles(placement: str) -> None:
    exercise = replace(
        exercise_of(plain(Note.LOW_A), doubling(Note.B), plain(Note.D)),
        gracenotes=Gracenotes(Length(Fraction(45), "ms"), placement),  # type: ignore[arg-type]
    )
    for tempo in (40, 80, 160):
        lengths = {e.length for e in expand(exercise, tempo) if e.role is Role.GRACENOTE}
        assert lengths == {Fraction(45, 1000)}


def test_a_gracenote_on_the_beat_takes_its_time_from_the_note_it_leads() -> None:
    exercise = exercise_of(plain(Note.LOW_A), MelodyNote(Fraction(1), (Slot(Note.B, Note.HIGH_G),)))
    before, grace, after = sounding(expand(exercise, 60, count_in=0))
    assert (before.length, grace.start, after.start) == (1, 1, 1 + Fraction(45, 1000))


def test_a_gracenote_before_the_beat_takes_its_time_from_the_note_before() -> None:
    exercise = replace(
        exercise_of(plain(Note.LOW_A), MelodyNote(Fraction(1), (Slot(Note.B, Note.HIGH_G),))),
        gracenotes=Gracenotes(placement="before the beat"),
    )
    before, grace, after = sounding(expand(exercise, 60, count_in=0))
    assert (before.length, grace.end, after.start, after.length) == (1 - grace.length, 1, 1, 1)


def test_a_first_gracenote_before_the_beat_sounds_within_the_count_in() -> None:
    exercise = replace(
        exercise_of(MelodyNote(Fraction(3), (Slot(Note.B, Note.HIGH_G),))),
        gracenotes=Gracenotes(placement="before the beat"),
    )
    timeline = expand(exercise, 60, count_in=1)
    rest, grace, note = timeline
    assert (rest.role, grace.end, note.start) == (Role.REST, 3, 3)
    assert not timeline.remarks
    without = expand(exercise, 60, count_in=0)
    assert [event.start for event in without] == [0, Fraction(45, 1000)]
    assert "on the beat" in without.remarks[0]


def test_inner_notes_of_a_closed_movement_last_the_same_at_every_tempo() -> None:
    exercise = exercise_of(plain(Note.LOW_A), doubling(Note.B), plain(Note.D))
    for tempo in (40, 80, 160):
        first, second = (e for e in sounding(expand(exercise, tempo)) if e.note is Note.B)
        # 50 ms and the gracenote after it.
        assert second.start - first.start == Fraction(95, 1000)


def test_an_hour_of_one_line_drifts_by_nothing() -> None:
    exercise = exercise_of(plain(Note.LOW_A), doubling(Note.B), plain(Note.D))
    tempo = Fraction(77)
    repeats = int(3600 / (3 * 60 / tempo))
    timeline = expand(exercise, tempo, repeats=repeats)
    last = max(e.start for e in timeline if e.note is Note.D and e.role is Role.MELODY)
    # Count-in, all turns but the last, and two beats into the last.
    assert last == (3 + (repeats - 1) * 3 + 2) * 60 / tempo


def test_the_length_is_count_in_plus_bars_times_beats() -> None:
    exercise = exercise_of(plain(Note.LOW_A), plain(Note.B), plain(Note.D))
    assert expand(exercise, 70, count_in=2, repeats=5).duration == (2 * 3 + 5 * 3) * Fraction(
        60, 70
    )


def test_a_bar_of_clicks_stands_between_lines_and_the_first_beat_is_accented() -> None:
    line = exercise_of(plain(Note.LOW_A), plain(Note.B), plain(Note.D)).lines[0]
    timeline = expand(Exercise("Two lines", (line, line)), 60)
    kinds = [section.kind for section in timeline.sections]
    assert kinds == [SectionKind.COUNT_IN, SectionKind.LINE, SectionKind.GAP, SectionKind.LINE]
    clicks = list(timeline.clicks())
    assert [click.start for click in clicks] == list(range(12))
    accents = [click.start for click in clicks if click.kind is ClickKind.ACCENT]
    assert accents == [0, 3, 6, 9]


def test_an_echo_leaves_the_learner_the_same_length_after_each_turn() -> None:
    exercise = exercise_of(plain(Note.LOW_A), plain(Note.B), plain(Note.D))
    timeline = expand(exercise, 60, repeats=2, mix="echo")
    kinds = [section.kind.value for section in timeline.sections]
    assert kinds == ["count-in", "line", "echo", "line", "echo"]
    assert {section.length for section in timeline.sections} == {3}
    heard = [event.start for event in sounding(timeline)]
    assert heard == [3, 4, 5, 9, 10, 11]


def test_a_pickup_is_counted_in_so_that_the_downbeat_keeps_its_accent() -> None:
    pickup = Bar((plain(Note.E),), THREE_FOUR)
    full = Bar((plain(Note.LOW_A), plain(Note.B), plain(Note.D)), THREE_FOUR)
    timeline = expand(Exercise("Pickup", (Line((pickup, full)),)), 60)
    accents = [c.start for c in timeline.clicks() if c.kind is ClickKind.ACCENT]
    first_full = next(e.start for e in timeline if e.bar == 2)
    assert accents == [0, 3, first_full]
    assert [c.start for c in timeline.clicks()] == list(range(9))


def test_a_pickup_played_again_is_the_last_beat_of_the_bar_before_it() -> None:
    jig = Meter(6, 8)
    eighth = Fraction(1, 3)
    pickup = Bar((plain(Note.E, eighth),), jig)
    whole = Bar((plain(Note.LOW_A), plain(Note.B)), jig)
    short = Bar((plain(Note.LOW_A), plain(Note.B, 2 * eighth)), jig)
    line = Line((pickup, whole, short, pickup, whole, short))
    clicks = list(expand(Exercise("Jig", (line,)), 60, count_in=0).clicks())
    assert [click.start - eighth for click in clicks] == list(range(8))
    assert "".join(click.kind.value[0] for click in clicks) == "abababab"


def test_bars_are_pieces_of_one_only_where_they_fill_it() -> None:
    def bars(*beats: int) -> list[Bar]:
        return [Bar((plain(Note.E, count),), Meter(4, 4)) for count in beats]

    assert bar_offsets(bars(4, 3, 1, 4)) == [0, 0, 3, 0]
    assert bar_offsets(bars(1, 4, 3, 1, 4, 3)) == [3, 0, 0, 3, 0, 0]
    assert bar_offsets(bars(4, 1, 2, 1, 4)) == [0, 0, 1, 3, 0]
    assert bar_offsets(bars(4, 2, 1, 4)) == [0, 0, 0, 0]
    assert bar_offsets(bars(4, 3, 3, 1)) == [0, 0, 0, 3]
    other = replace(bars(1)[0], meter=Meter(3, 4))
    assert bar_offsets([*bars(4, 3), other]) == [0, 0, 0]
    assert bar_offsets(bars(3)) == [0]


def test_compound_meters_beat_in_dotted_notes() -> None:
    jig = Meter(6, 8)
    timeline = expand(
        Exercise("Jig", (Line((Bar((plain(Note.LOW_A), plain(Note.E)), jig),)),)),
        60,
        subdivide=True,
    )
    kinds = "".join(click.kind.value[0] for click in timeline.clicks())
    assert kinds == "abassbss"
    assert timeline.duration == 4


def test_a_tempo_mark_scales_with_the_rung() -> None:
    slow = Bar((plain(Note.LOW_A, 3),), THREE_FOUR)
    fast = Bar((plain(Note.B, 3),), THREE_FOUR, tempo=Fraction(120))
    timeline = expand(Exercise("Faster", (Line((slow, fast)),), Fraction(60)), 30, count_in=0)
    assert [event.length for event in timeline] == [6, 3]


@pytest.mark.parametrize("meter", [(2, 4), (3, 4), (4, 4), (5, 4), (6, 8), (9, 8), (12, 8), (2, 2)])
def test_rolls_are_counted_in_four_whatever_the_meter(meter: tuple[int, int]) -> None:
    # Common practice: a pipe band starts on two three-beat rolls, a beat of rest after each, the
    # drones on the second.
    bar = Meter(*meter)
    timeline = expand(
        exercise_of(*[plain(Note.E)] * bar.beats, meter=bar), 60, count_in_style="rolls"
    )
    assert [(roll.start, roll.length) for roll in timeline.rolls] == [(0, 3), (4, 3)]
    assert timeline.drones_start == 4
    assert next(e.start for e in timeline if e.note) == 8
    assert all(click.start >= 8 for click in timeline.clicks())


@pytest.mark.parametrize(("pickup", "begins"), [(Fraction(1, 2), Fraction(15, 2)), (1, 7), (2, 8)])
def test_a_pickup_falls_into_the_rest_after_the_second_roll_where_it_has_room(
    pickup: Fraction, begins: Fraction
) -> None:
    bars = (Bar((plain(Note.E, pickup),), THREE_FOUR), Bar((plain(Note.F, 3),), THREE_FOUR))
    timeline = expand(Exercise("March", (Line(bars),)), 60, count_in_style="rolls")
    assert next(e.start for e in timeline if e.note) == begins
    assert timeline.rolls[1].start + timeline.rolls[1].length <= begins


@pytest.mark.parametrize("style", ["clicks", "rolls"])
def test_an_introductory_e_sounds_for_the_beat_before_the_tune(style: Any) -> None:
    tune = exercise_of(*[plain(Note.LOW_A)] * 3)
    timeline = expand(tune, 60, count_in=2, count_in_style=style, introduction="E")
    silence, introduction, first, *_ = timeline
    begins = 8 if style == "rolls" else 6
    assert (silence.note, silence.length) == (None, begins - 1)
    assert (introduction.note, introduction.role) == (Note.E, Role.INTRODUCTION)
    assert (introduction.start, introduction.end, introduction.note_id) == (begins - 1, begins, "")
    assert (first.note, first.start) == (Note.LOW_A, begins)
    with pytest.raises(RungwiseError, match="count-in"):
        expand(tune, 60, count_in=0, introduction="E")


@given(exercises(), st.integers(30, 300), st.sampled_from(["clicks", "rolls"]))
@examples(100)
def test_what_leads_into_a_tune_leaves_its_introduction_time_to_be_heard(
    exercise: Exercise, tempo: int, style: Any
) -> None:
    try:
        timeline = expand(exercise, tempo, count_in_style=style, introduction="E")
    except RungwiseError:
        assume(False)
    events = list(timeline)
    for before, after in pairwise(events):
        assert before.end == after.start
    introductions = [event for event in events if event.role is Role.INTRODUCTION]
    assert [event.length >= Fraction(15, 1000) for event in introductions] == [True]


def test_tied_notes_sound_as_one() -> None:
    tied = MelodyNote(Fraction(1), (Slot(Note.E),), tied=True)
    timeline = expand(exercise_of(plain(Note.E), tied, plain(Note.F)), 60, count_in=0)
    assert [event.length for event in timeline] == [2, 1]


def test_a_written_rest_silences_the_chanter() -> None:
    timeline = expand(exercise_of(plain(Note.E), Rest(Fraction(2))), 60, count_in=0)
    assert [(event.note, event.length) for event in timeline] == [(Note.E, 1), (None, 2)]


def test_what_does_not_fit_is_named_with_the_tempo_at_which_it_does() -> None:
    tight = [doubling(note, Fraction(1, 4)) for note in (Note.B, Note.C, Note.B)]
    exercise = exercise_of(plain(Note.LOW_A), *tight, plain(Note.D))
    with pytest.raises(RungwiseError) as caught:
        expand(exercise, 400)
    message = str(caught.value)
    # Each has two gracenotes of 20 ms, 25 ms between them and 15 ms to be heard in a quarter of
    # 150 ms; the first can begin 65 ms before its beat. Three times 80 - 37.5 ms, less 65.
    for part in ("line 1, bar 1, note 2 (B)", "doubling", "62.5 ms too short", "up to 257 beats"):
        assert part in message
    assert "(gracenotes at least 20 ms, inner notes at least 25 ms)" in message
    expand(exercise, Fraction(60_000) / (4 * (80 - Fraction(65, 3))))


def test_notes_that_lack_the_same_room_are_told_of_once() -> None:
    tight = [doubling(note, Fraction(1, 4)) for note in (Note.B, Note.C, Note.B)]
    exercise = exercise_of(plain(Note.LOW_A), *tight, plain(Note.D))
    with pytest.raises(RungwiseError) as caught:
        expand(exercise, 400)
    (problem,) = caught.value.problems
    assert problem.place == "line 1, bar 1, note 2 (B), and 2 more notes"


def with_noises(exercise: Exercise, places: dict[NoisePlace, Note]) -> Timeline:
    return expand_at(
        exercise,
        exercise.tempo,
        count_in=1,
        count_in_style="clicks",
        repeats=1,
        echo=False,
        gap=1,
        subdivide=False,
        noises=places,
        introduction=None,
    )


def test_crossing_noises_sound_in_every_second_turn_and_leave_gracenotes_their_length() -> None:
    line = exercise_of(plain(Note.E), MelodyNote(Fraction(2), (Slot(Note.B, Note.HIGH_G),)))
    places = {(1, 1, 2, 1, True): Note.LOW_A, (1, 1, 2, 1, False): Note.LOW_G}
    timeline = with_noises(line, places)
    noises = [event for event in timeline if event.role is Role.CROSSING_NOISE]
    assert [(noise.note, noise.turn) for noise in noises] == [(Note.LOW_A, 2), (Note.LOW_G, 2)]
    assert {noise.length for noise in noises} == {Fraction(25, 1000)}
    graces = [event for event in timeline if event.role is Role.GRACENOTE]
    assert [grace.start for grace in graces] == [4, 7]
    assert {grace.length for grace in graces} == {Fraction(45, 1000)}
    now = Fraction(0)
    for event in timeline:
        assert event.start == now
        now = event.end
    assert now == timeline.duration


@pytest.mark.parametrize("tempo", [0, -5, 9, 401, 10_000])
def test_tempos_that_nobody_plays_are_refused(tempo: int) -> None:
    with pytest.raises(RungwiseError, match="from 10 to 400"):
        expand(exercise_of(plain(Note.E)), tempo)


def test_endless_tracks_are_refused() -> None:
    with pytest.raises(RungwiseError, match="at most 12 hours"):
        expand(exercise_of(plain(Note.E, 3)), 10, repeats=10_000)


def test_a_first_gracenote_without_room_before_it_asks_for_a_count_in() -> None:
    early = Gracenotes(placement="before the beat")
    first = doubling(Note.LOW_A, Fraction(1, 2))
    exercise = replace(exercise_of(first, plain(Note.B)), gracenotes=early)
    # Of 77 ms the first gracenote takes at least 20 where nothing comes before it.
    expand(exercise, 390, count_in=1)
    with pytest.raises(RungwiseError) as caught:
        expand(exercise, 390, count_in=0)
    assert "Ask for a count-in" in str(caught.value)


def test_a_line_that_is_played_alone_is_as_fast_as_among_the_others() -> None:
    marked = Line((Bar((plain(Note.B, 3),), THREE_FOUR, tempo=Fraction(120)),))
    line = Line((Bar((plain(Note.C, 3),), THREE_FOUR),))
    whole = Exercise("Test", (line, marked, line), Fraction(60))
    for number, seconds in ((1, 3), (2, 1.5), (3, 1.5)):
        alone = whole.only(number)
        assert (alone.title, alone.number_of(0)) == (f"Test, line {number}", number)
        assert expand(alone, count_in=0).duration == seconds


def test_an_opened_ornament_has_too_many_parts_in_one_wording() -> None:
    exercise = replace(exercise_of(doubling(Note.B)), inner=Inner((Length(Fraction(1), "beat"),)))
    with pytest.raises(RungwiseError) as played:
        expand(exercise)
    with pytest.raises(RungwiseError) as printed:
        printed_line(exercise, 1)
    assert played.value.problems == printed.value.problems
    assert str(played.value) == (
        "line 1, bar 1, note 1 (B): the doubling opened out has 2 parts of 1 beat each and its "
        "note has only 1 beat, so it fits at no tempo. A shorter inner length, such as '1/2 beat', "
        "fits; or give the note more time."
    )


@pytest.mark.parametrize(
    ("source", "names_keys"), [("wide.toml", True), ("wide.txt", True), ("wide.abc", False)]
)
def test_how_to_give_a_note_time_is_said_in_the_keys_of_definitions_to_who_writes_one(
    source: str, names_keys: bool
) -> None:
    exercise = replace(
        exercise_of(doubling(Note.B)), inner=Inner((Length(Fraction(1), "beat"),)), source=source
    )
    with pytest.raises(RungwiseError) as played:
        expand(exercise)
    (problem,) = played.value.problems
    assert ("`run`" in problem.remedy) is names_keys
    assert problem.file == source


def test_where_no_crossing_noise_lurks_it_is_said() -> None:
    easy = exercise_of(plain(Note.LOW_A), plain(Note.B), plain(Note.LOW_A))
    remark = "No crossing noise lurks in it: each line is played clean both times."
    assert with_noises(easy, {}).remarks == (remark,)
    assert expand(easy).remarks == ()
