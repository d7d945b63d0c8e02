"""Notes that come a little off the beat where even the shortest movements leave no room.

That players put the beat anywhere from a movement's first sounding to its melody note is common
practice; the least lengths are the project's judgement.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import linprog

from renderer.errors import RungwiseError
from renderer.notation.limits import LEAST_GRACENOTE_MS, LEAST_SOUNDING_MS
from renderer.notation.pitch import Note
from renderer.notation.playing import Playing
from renderer.notation.score import Bar, Exercise, Line, MelodyNote, Meter, Rest, Slot
from renderer.order.tracks import expand
from renderer.timing.expand import Timeline
from renderer.timing.fit import fastest_tempos
from renderer.timing.timeline import Role
from tests.sampling import examples

MS = Fraction(1, 1000)
LEAST_INNER = 25 * MS
GRACENOTE, HEARD = LEAST_GRACENOTE_MS * MS, LEAST_SOUNDING_MS * MS

B = Slot(Note.B)
BIRL = tuple(Slot(note) for note in (Note.LOW_G, Note.LOW_A, Note.LOW_G, Note.LOW_A))
BUBBLY = (Slot(Note.LOW_G), Slot(Note.LOW_G, Note.D), Slot(Note.LOW_G, Note.C), B)
FIRST, LAST = Playing("first"), Playing("last")


def plain(beats: str) -> MelodyNote:
    return MelodyNote(Fraction(beats), (Slot(Note.E),))


def birl(beats: str) -> MelodyNote:
    """At least 25 ms each for low G, low A and low G, which begin on the beat."""
    return MelodyNote(Fraction(beats), BIRL, playing=FIRST)


def bubbly(beats: str) -> MelodyNote:
    """At least 25, 20 + 25 and 20 + 25 ms before the beat."""
    return MelodyNote(Fraction(beats), BUBBLY, playing=LAST)


def exercise(*notes: MelodyNote, then: Sequence[MelodyNote | Rest] = ()) -> Exercise:
    """A line of some notes and, where it is given, a second one."""
    lines = [Line((Bar(row, Meter(4, 4)),)) for row in (notes, tuple(then)) if row]
    return Exercise("Test", tuple(lines), Fraction(60))


@dataclass(frozen=True)
class Placed:
    """A written note on a track: its beat, its first sounding, its melody note."""

    beat: Fraction
    begins: Fraction
    melody: Fraction
    ends: Fraction


def placed(timeline: Timeline) -> list[Placed]:
    line = next(section.start for section in timeline.sections if section.line == 1
                and section.kind.name == "LINE")  # fmt: skip
    events = [event for event in timeline if event.line]
    found, beat = [], line
    for number, note in enumerate(timeline.exercise.lines[0].bars[0].items, start=1):
        of_note = [event for event in events if event.item == number]
        melody = next(event for event in of_note if event.role in (Role.MELODY, Role.REST))
        found.append(Placed(beat, of_note[0].start, melody.start, melody.end))
        beat += note.beats * timeline.seconds_per_beat
    return found


def test_a_movement_on_a_short_note_begins_earlier_by_what_it_lacks() -> None:
    # 80 ms for a birl of 75 and a melody note of 15.
    track = expand(exercise(plain("1"), birl("1/4"), plain("1")), Fraction(60_000, 320))
    before, here, after = placed(track)
    assert here.beat - here.begins == 10 * MS
    assert here.ends - here.melody == HEARD
    assert after.begins == after.beat
    assert before.begins == before.beat
    (said,) = track.remarks
    assert said.endswith("; to leave room line 1, bar 1, note 2 (low A) comes 10 ms early.")


def test_a_movement_before_its_beat_comes_later_after_a_short_note() -> None:
    # 100 ms for a note of 15 and the 115 of a bubbly note.
    track = expand(exercise(plain("1"), plain("1/3"), bubbly("1")), Fraction(200))
    _, before, here = placed(track)
    assert before.ends - before.melody == HEARD
    assert here.melody - here.beat == 30 * MS


def test_between_two_movements_the_later_one_gives_way_first() -> None:
    # 150 ms for 75 of the birl, 15 of its melody note and 115 of the bubbly note: 55 too few.
    track = expand(exercise(plain("1"), birl("1/2"), bubbly("1")), Fraction(200))
    _, first, second = placed(track)
    assert first.begins == first.beat
    assert second.melody - second.beat == 55 * MS


def test_notes_that_have_room_stay_on_the_beat() -> None:
    track = expand(exercise(plain("1"), birl("1/2"), bubbly("1"), plain("1")), Fraction(60))
    assert all(note.beat in (note.begins, note.melody) for note in placed(track))
    assert track.fit.offsets == {}


def test_what_no_giving_way_makes_room_for_is_refused_with_the_fastest_tempo() -> None:
    tight = exercise(plain("1"), birl("1/4"), birl("1/4"), birl("1/4"), plain("1"))
    # Each of 90 ms; the first can begin 75 ms before its beat: three quarters of 65 ms at least.
    fastest = Fraction(60_000, 4 * 65)
    assert fastest_tempos(tight) == (fastest,)
    first, *_, last = placed(expand(tight, fastest))[1:-1]
    assert first.melody == first.beat
    assert last.ends - last.melody == HEARD
    with pytest.raises(RungwiseError) as caught:
        expand(tight, fastest + Fraction(1, 100))
    (problem,) = caught.value.problems
    assert problem.place == "line 1, bar 1, note 2 (low A), and 2 more notes"
    assert "It fits up to 230 beats a minute" in str(caught.value)


def refused(music: Exercise, tempo: Fraction, **given: Any) -> list[tuple[str, str]]:
    """The places that have too little room, and how many milliseconds each lacks."""
    with pytest.raises(RungwiseError) as caught:
        expand(music, tempo, **given)
    lacks = (one.cause.split(" ms too short")[0].split()[-1] for one in caught.value.problems)
    return [(one.place, ms) for one, ms in zip(caught.value.problems, lacks, strict=True)]


def test_a_note_that_fits_where_it_stands_is_not_blamed_for_the_one_before_it() -> None:
    # 40 ms for a note of 15 and the 115 of a bubbly note, which can come 65 ms late in its 80.
    tight = exercise(plain("1/4"), bubbly("1/2"), plain("1"))
    assert refused(tight, Fraction(60_000, 160)) == [("line 1, bar 1, note 1 (E)", "25")]


def test_what_lacks_room_is_the_same_on_both_sides_of_the_end_of_a_line() -> None:
    # Three birls of 90 ms in 80 each, of which the first follows a silence.
    alone = exercise(*[birl("1/4")] * 3, plain("1"))
    tempo = Fraction(60_000, 320)
    assert refused(alone, tempo) == [("line 1, bar 1, note 1 (low A), and 2 more notes", "30")]
    apart = exercise(*[birl("1/4")] * 2, then=[birl("1/4"), plain("1")])
    assert refused(apart, tempo, gap=0) == [
        ("line 1, bar 1, note 1 (low A), and 2 more notes", "30")
    ]


def test_a_line_gives_way_to_the_line_after_it() -> None:
    # Two birls of 90 ms in 80 each: the first comes twice as early as the second.
    notes = [plain("1"), birl("1/4"), birl("1/4"), plain("1")]
    tempo = Fraction(60_000, 320)
    whole = expand(exercise(*notes), tempo).fit.offsets
    assert whole == {(0, 1, 2): -20 * MS, (0, 1, 3): -10 * MS}
    apart = expand(exercise(*notes[:2], then=notes[2:]), tempo, gap=0).fit.offsets
    assert apart == {(0, 1, 2): -20 * MS, (1, 1, 1): -10 * MS}


def test_a_movement_after_a_rest_that_is_all_of_a_line_comes_later() -> None:
    # A rest of 40 ms before a bubbly note, which has 115 before its beat.
    rest = Line((Bar((Rest(Fraction(1, 4)),), Meter(4, 4)),))
    music = exercise(bubbly("4"), plain("1"))
    track = expand(replace(music, lines=(rest, *music.lines)), 375, gap=0)
    assert track.fit.offsets == {(1, 1, 1): 75 * MS}


def test_the_first_note_after_a_count_in_comes_no_earlier() -> None:
    tight = exercise(birl("1/4"), plain("1"))
    expand(tight, Fraction(60_000, 4 * 90))
    with pytest.raises(RungwiseError):
        expand(tight, Fraction(60_000, 4 * 89))


NOTES = st.builds(
    lambda beats, slots, beat: MelodyNote(beats, tuple(slots), playing=Playing(beat)),
    st.sampled_from([Fraction(1, 4), Fraction(1, 3), Fraction(1, 2), Fraction(1)]),
    st.lists(
        st.builds(Slot, st.just(Note.LOW_A), st.none() | st.just(Note.E)), min_size=1, max_size=4
    ),
    st.sampled_from(["first", "last", 2, 3]),
)


def spread(note: MelodyNote) -> tuple[Fraction, Fraction]:
    """What a note has before its beat and after it until its melody note, as short as can be."""
    slots = [GRACENOTE * (slot.gracenote is not None) for slot in note.slots]
    last = len(slots) - 1
    match note.playing.beat:
        case "first":
            anchor = 0
        case "last":
            anchor = last
        case number:
            anchor = min(int(number) - 1, last)
    lead = sum(slots[:anchor], Fraction(0)) + anchor * LEAST_INNER
    return lead, sum(slots[anchor:], Fraction(0)) + (last - anchor) * LEAST_INNER


def most_to_spare(notes: list[MelodyNote], tempo: Fraction) -> float:
    """How much room the tightest note has to spare, by linear programming, in ms; below 0 if none.

    Its unknowns are how far each note is off its beat, and the room to spare.
    """
    above, most = [], []
    for index, note in enumerate(notes):
        _, tail = spread(note)
        row = [0.0] * len(notes) + [1.0]
        room = note.beats * 60 / tempo - tail - HEARD
        row[index] = 1.0
        if index + 1 < len(notes):
            row[index + 1] = -1.0
            room -= spread(notes[index + 1])[0]
        above.append(row)
        most.append(float(room / MS))
    ranges = [(float(-tail / MS), float(lead / MS)) for lead, tail in map(spread, notes)]
    ranges[0] = (0.0, ranges[0][1])
    found = linprog(
        [0.0] * len(notes) + [-1.0], above, most, bounds=[*ranges, (None, None)], method="highs"
    )
    return float(found.x[-1])


@given(st.lists(NOTES, min_size=2, max_size=8), st.integers(100, 400))
@examples(400)
def test_everything_plays_that_a_linear_program_finds_room_for(
    notes: list[MelodyNote], tempo: int
) -> None:
    to_spare = most_to_spare(notes, Fraction(tempo))
    assume(abs(to_spare) > 1e-6)
    if to_spare < 0:
        with pytest.raises(RungwiseError):
            expand(exercise(*notes), tempo)
        return
    track = expand(exercise(*notes), tempo)
    for event in track:
        if event.role is Role.GRACENOTE:
            assert event.length >= GRACENOTE
        elif event.role is Role.MELODY:
            assert event.length >= HEARD
        elif event.role is Role.INNER:
            assert event.length >= LEAST_INNER
    for note in placed(track):
        assert note.begins <= note.beat <= note.melody


@given(st.lists(NOTES, min_size=2, max_size=8))
@examples(200)
def test_the_fastest_tempo_of_a_tight_line_is_where_the_error_begins(
    notes: list[MelodyNote],
) -> None:
    (fastest,) = fastest_tempos(exercise(*notes))
    assume(fastest is not None and 11 < fastest < 399)
    assert fastest is not None
    expand(exercise(*notes), fastest, repeats=2)
    with pytest.raises(RungwiseError):
        expand(exercise(*notes), fastest * Fraction(10_001, 10_000), repeats=2)
