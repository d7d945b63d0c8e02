"""Where movements lie in time: which slot is on the beat, and how long each part lasts."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from renderer.errors import RungwiseError
from renderer.notation.definition.reader import parse_definition
from renderer.notation.note_parts import parts_of
from renderer.notation.pitch import Note
from renderer.notation.playing import Beat, slot_on_the_beat
from renderer.notation.score import Bar, Exercise, Line, MelodyNote, Meter, Slot
from renderer.order.tracks import expand
from renderer.technique.realise import realise
from renderer.timing.timeline import Event, Role
from tests.timing.strategies import exercises

LEAST = Fraction(15, 1000)
BEATS: list[Beat | None] = [None, "first", "last", 1, 2, 3, 9]
MS = Fraction(1, 1000)


def music(lines: str, head: str = "") -> Exercise:
    return realise(parse_definition(f'meter = "4/4"\n{head}\n[[lines]]\n{lines}'))


def slot_starts(events: list[Event], item: int, turn: int = 1) -> dict[int, Fraction]:
    """Where each slot of a written note begins, its gracenote included."""
    starts: dict[int, Fraction] = {}
    for event in events:
        if (event.item, event.turn) == (item, turn):
            starts.setdefault(event.slot, event.start)
    return starts


TAORLUATHS = 'run = "B, low A, C, low A"\nornament = "taorluath"'


@pytest.mark.parametrize("tempo", [40, 55, 60, 77, 90, 111])
def test_the_melody_note_of_a_taorluath_is_on_the_beat_at_every_rung(tempo: int) -> None:
    # The book's choice; the time comes from the note before, at the head from the count-in.
    events = list(expand(music(TAORLUATHS), tempo, repeats=2))
    for turn in (1, 2):
        for item in (1, 2, 3, 4):
            beat = (4 * turn + item - 1) * Fraction(60, tempo)
            assert slot_starts(events, item, turn)[3] == beat
            assert slot_starts(events, item, turn)[1] == beat - (50 + 95) * MS


@pytest.mark.parametrize("tempo", [40, 60, 111])
def test_a_movement_that_begins_on_the_beat_takes_its_time_from_its_own_note(tempo: int) -> None:
    head = 'ornaments.beat = "first"'
    events = list(expand(music(TAORLUATHS, head), tempo))
    for item in (1, 2, 3, 4):
        assert slot_starts(events, item)[1] == (4 + item - 1) * Fraction(60, tempo)


def test_a_slot_can_be_chosen_by_its_number_in_a_line() -> None:
    events = list(expand(music(f"{TAORLUATHS}\nbeat = 2", 'ornaments.beat = "first"'), 60))
    for item in (1, 2, 3, 4):
        assert slot_starts(events, item)[2] == 4 + item - 1


def test_the_parts_of_a_closed_grip_are_even() -> None:
    events = list(expand(music('run = "B, C, B, C"\nornament = "grip"'), 60))
    lengths = [event.length for event in events if event.item == 2][:3]
    assert lengths == [50 * MS, 45 * MS, 50 * MS]


@given(exercises(), st.sampled_from(BEATS), st.integers(20, 120), st.booleans(), st.integers(0, 1))
def test_every_slot_asked_for_is_on_its_beat_and_nothing_is_too_short_to_be_heard(
    exercise: Exercise, beat: Beat | None, tempo: int, is_counted_in: bool, gap: int
) -> None:
    exercise = replace(exercise, beat=beat)
    try:
        timeline = expand(exercise, tempo, repeats=2, count_in=2 * is_counted_in, gap=gap)
    except RungwiseError:
        assume(False)
        raise
    now = Fraction(0)
    for event in timeline:
        assert event.start == now
        assert event.length >= LEAST or event.note is None
        now = event.end
    assert now == timeline.duration
    ends_on_beat = exercise.gracenotes.placement == "before the beat"
    spb = timeline.seconds_per_beat
    for section in timeline.sections:
        if section.kind.value != "line":
            continue
        line, chain = exercise.lines[section.line - 1], timeline.chains[section.line - 1]
        starts = {(one.bar, one.item, one.slot): one for one in chain.soundings}
        for bar_number, bar in enumerate(line.bars, start=1):
            beats = Fraction(0)
            for number, item in enumerate(bar.items, start=1):
                if isinstance(item, MelodyNote):
                    slot = parts_of(exercise, line, item).anchor + 1
                    sounding = starts[bar_number, number, slot]
                    place = chain.bar_starts[bar_number - 1]
                    place += beats * chain.stretch[bar_number - 1]
                    on_beat = sounding.start.at(spb)
                    if ends_on_beat:
                        on_beat += sounding.gracenote_lasts.at(spb)
                    assert on_beat == place * spb
                beats += item.beats


@pytest.mark.parametrize(("beat", "index"), [("first", 0), ("last", 2), (1, 0), (2, 1), (9, 2)])
def test_a_number_past_the_last_slot_means_the_melody_note(beat: Beat, index: int) -> None:
    assert slot_on_the_beat(beat, 3) == index


def test_without_a_count_in_the_first_movement_is_played_on_the_beat_and_it_is_said() -> None:
    timeline = expand(music(TAORLUATHS), 60, count_in=0, repeats=2)
    events = list(timeline)
    assert events[0].note is not None
    assert slot_starts(events, 1)[1] == 0
    # Played again, it has the time of the note before.
    assert slot_starts(events, 1, turn=2)[3] == 4
    assert "its movement is played on the beat" in timeline.remarks[0]


def test_even_parts_share_each_note_among_its_slots() -> None:
    exercise = music('run = "B, low A, C, D"\nornament = ["taorluath", "doubling"]\ninner = "even"')
    events = list(expand(exercise, 60))
    assert [start - 4 for start in slot_starts(events, 1).values()] == [
        0,
        Fraction(1, 3),
        Fraction(2, 3),
    ]
    assert [start - 5 for start in slot_starts(events, 2).values()] == [0, Fraction(1, 2)]


def test_a_crunluath_with_opened_gracenotes_is_eight_even_notes() -> None:
    # Common practice in tutors: G d G e A f A e, and a throw on D as G d c d.
    exercise = music('abc = "L:1/4 {GdGeAfA}e {Gdc}d/ z/ z2"\ngracenote = "1/8 beat"')
    events = [event for event in expand(exercise, 60) if event.note is not None]
    assert {event.length for event in events} == {Fraction(1, 8)}
    notes = "".join(event.note.abc for event in events if event.note is not None)
    assert notes == "GdGeAfAe" + "Gdcd"


def test_each_part_can_have_a_length_of_its_own() -> None:
    exercise = music('run = "B, C, B, C"\nornament = "taorluath"\ninner = ["70 ms", "60 ms"]')
    events = [event for event in expand(exercise, 60) if event.item == 2]
    assert [event.length / MS for event in events[:4]] == [70, 45, 60, 45]
    opened = music('run = "B, C, B, C"\nornament = "taorluath"\ninner = ["1/2 beat", "1/4 beat"]')
    starts = slot_starts(list(expand(opened, 60)), 2)
    assert [start - 5 for start in starts.values()] == [0, Fraction(1, 2), Fraction(3, 4)]


# --- room ----------------------------------------------------------------------------------------

TIGHT = 'abc = "L:1/4 B {gBd}B/4 c3/4 {gBd}B2"'


def doublings_inner(exercise: Exercise, tempo: int) -> list[Fraction]:
    """How long the first sounding of each doubling lasts, in ms."""
    return [e.length / MS for e in expand(exercise, tempo) if e.role is Role.INNER]


def test_one_tight_movement_is_shortened_and_no_other() -> None:
    # A quarter of 640 ms is 160 ms; 90 of it are gracenotes. The rest is shared by the first
    # sounding (50 ms, at least 25) and what is left of the note (50 ms, at least 25).
    exercise = music(TIGHT)
    spb = Fraction(640, 1000)
    timeline = expand(exercise, 60 / spb)
    share = Fraction(70 - 25 - 25, 25 + 25)
    inner = [event.length / MS for event in timeline if event.role is Role.INNER]
    assert inner == [25 + 25 * share, 50]
    (remark,) = timeline.remarks
    assert remark == (
        "At 93.7 beats a minute 1 movement is shortened to fit: the doubling in line 1, bar 1, "
        "note 2 (B), with inner notes of 35 ms and not 50 ms."
    )


def test_a_movement_is_never_shorter_than_players_manage_and_gives_way_beyond() -> None:
    exercise = music(TIGHT)
    # Two gracenotes of 20 ms, 25 ms and 15 ms in a quarter of a beat.
    tightest = 60 / (4 * Fraction(80, 1000))
    shortest, usual = [e for e in expand(exercise, tightest) if e.role is Role.INNER]
    assert (shortest.length / MS, usual.length / MS) == (25, 50)
    assert expand(exercise, tightest).fit.offsets == {}
    # A hundredth of 320 ms less to the beat is 0.8 ms less to a quarter of it.
    faster = expand(exercise, tightest * Fraction(100, 99))
    assert faster.fit.offsets == {(0, 1, 2): -Fraction(8, 10) * MS}
    assert next(e.length for e in faster if e.role is Role.INNER) == shortest.length


def gracenotes_of(exercise: Exercise, tempo: Fraction) -> list[Fraction]:
    """How long each gracenote lasts, in ms."""
    return [e.length / MS for e in expand(exercise, tempo) if e.role is Role.GRACENOTE]


def test_a_gracenote_is_shortened_last_and_alone_where_there_is_no_room_for_it() -> None:
    # A quarter of 560 ms is 140 ms: the gracenotes, 25 ms and 25 ms just fit.
    assert gracenotes_of(music(TIGHT), 60 / Fraction(560, 1000)) == [45, 45, 45, 45]
    # Of 110 ms too, with gracenotes halfway from 20 to 45 ms and the note from 15 to 25 ms.
    timeline = expand(music(TIGHT), 60 / Fraction(440, 1000))
    share = Fraction(110 - 80, 60)
    short = 20 + 25 * share
    assert gracenotes_of(music(TIGHT), 60 / Fraction(440, 1000)) == [short, short, 45, 45]
    (remark,) = timeline.remarks
    assert remark == (
        "At 136.3 beats a minute 1 movement is shortened to fit: the doubling in line 1, bar 1, "
        "note 2 (B), with inner notes of 25 ms and not 50 ms and gracenotes of 32.5 ms and not "
        "45 ms."
    )


def test_a_single_gracenote_is_shortened_where_its_note_has_no_room_for_it() -> None:
    exercise = music('abc = "L:1/4 B {g}c/8 {g}B15/8 {g}c"')
    tempo = 60 / Fraction(480, 1000)
    # An eighth of 480 ms is 60 ms: between 20 + 15 ms and 45 + 25 ms.
    short = 20 + 25 * Fraction(60 - 35, 70 - 35)
    assert gracenotes_of(exercise, tempo) == [short, 45, 45]
    (remark,) = expand(exercise, tempo).remarks
    assert "the G gracenote in line 1, bar 1, note 2 (C), with gracenotes of 37.86 ms" in remark


def test_gracenotes_of_a_grip_that_comes_before_the_beat_are_shortened_for_the_note_before() -> (
    None
):
    exercise = music('abc = "L:1/4 B {g}c/4 {GdG}e7/4 {GdG}B"')
    tempo = 60 / Fraction(500, 1000)
    # Of 125 ms the gracenotes and the grip's low Gs take 140 at their least inner notes.
    first, in_grip, *others = gracenotes_of(exercise, tempo)
    assert 20 < first == in_grip < 45
    assert set(others) == {45}
    melody = [e for e in expand(exercise, tempo) if e.role is Role.MELODY]
    assert melody[2].start - melody[1].start < Fraction(125, 1000)
    on_beat = [e.start for e in melody if e.note in (Note.E,)]
    assert on_beat == [4 * Fraction(1, 2) + Fraction(5, 4) * Fraction(1, 2)]


@given(exercises(), st.integers(20, 250), st.booleans())
def test_what_has_room_keeps_its_lengths_and_what_has_not_is_as_long_as_it_can(
    exercise: Exercise, tempo: int, is_repeated: bool
) -> None:
    """Gracenotes last what was asked for or are said to be shortened, and never below the least."""
    try:
        timeline = expand(exercise, tempo, repeats=1 + is_repeated)
    except RungwiseError:
        assume(False)
        raise
    asked = exercise.gracenotes.length.value
    lasts = {event.length / MS for event in timeline if event.role is Role.GRACENOTE}
    assert all(min(asked, Fraction(20)) <= length <= asked for length in lasts)
    is_said = any("shortened" in remark for remark in timeline.remarks)
    assert is_said or lasts <= {asked}
    # Twice as slow, nothing that had room loses it.
    slower = expand(exercise, Fraction(tempo, 2), repeats=1 + is_repeated)
    both = zip(timeline, slower, strict=True)
    graced = [(a, b) for a, b in both if a.role is Role.GRACENOTE]
    assert all(b.length >= a.length for a, b in graced)


@pytest.mark.parametrize("tempo", [90, 100, 110])
def test_the_same_rule_holds_wherever_the_tempo_stands(tempo: int) -> None:
    written = music(TIGHT, f"tempo = {tempo}")
    asked = music(TIGHT, "tempo = 60")
    assert list(expand(written)) == list(expand(asked, tempo))


def test_movements_before_and_after_a_beat_share_the_note_between_them() -> None:
    # The note keeps 15 to 50 ms beside a doubling after its beat and a grip before the next.
    exercise = music('abc = "L:1/4 B {gBd}B/2 {GdG}c/2 B2"')
    # 65 ms after the beat, 15 to be heard and 70 before the next beat, in half a beat.
    tempo = 60 / (2 * Fraction(150, 1000))
    assert expand(exercise, tempo).fit.offsets == {}
    events = [e for e in expand(exercise, tempo) if e.item in (2, 3) and e.role is Role.INNER]
    assert [event.length / MS for event in events] == [25, 25, 25]


@pytest.mark.parametrize(
    ("name", "on"),
    [("grip", "D, E"), ("taorluath", "B, D"), ("doubling", "D, E"), ("crunluath", "E")],
)
def test_no_movement_is_shortened_where_it_has_room(name: str, on: str) -> None:
    exercise = music(f'run = "B, D, E, low A"\nornament = "{name}"\non = "{on}"')
    assert not [remark for remark in expand(exercise, 60).remarks if "shortened" in remark]


def test_a_line_that_only_goes_on_with_the_note_before_it_begins_with_nothing() -> None:
    b, c, tied = (
        Line((Bar((MelodyNote(Fraction(1), (Slot(note),), tied=tied),), Meter(1, 4)),))
        for note, tied in ((Note.B, False), (Note.C, False), (Note.C, True))
    )
    track = expand(Exercise("Tied over lines", (b, c, tied)), 60, count_in=0, gap=0)
    assert [(event.note, event.length) for event in track] == [(Note.B, 1), (Note.C, 2)]


def test_a_rest_gives_all_of_its_time_to_the_movement_after_it() -> None:
    # A grip of 145 ms before the beat, and a rest of 150 ms.
    exercise = music('abc = "L:1/4 B3/4 z/4 {GdG}c3"')
    track = expand(exercise, 100)
    inner = [event.length / MS for event in track if event.role is Role.INNER]
    assert inner == [50, 50]
    assert not [remark for remark in track.remarks if "shortened" in remark]


def test_a_note_beside_gracenotes_alone_may_be_as_short_as_a_quick_inner_note() -> None:
    # A note of 80 ms, of which a gracenote before the beat takes 45.
    exercise = music(
        'abc = "L:1/4 c B/4 {g}c/4 B/2 c2"', 'gracenotes.placement = "before the beat"'
    )
    events = list(expand(exercise, Fraction(375, 2)))
    (gracenote,) = (event for event in events if event.role is Role.GRACENOTE)
    (before,) = (event for event in events if event.end == gracenote.start)
    assert (before.length / MS, gracenote.length / MS) == (35, 45)


def test_an_opened_gracenote_too_short_to_be_heard_is_named() -> None:
    exercise = music('run = "B, C"\nornament = "G gracenote"\ngracenote = "1/16 beat"')
    named = r"the gracenote of B, opened out, is 5\.625 ms too short to be heard"
    with pytest.raises(RungwiseError, match=named):
        expand(exercise, 400)
