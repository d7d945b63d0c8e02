"""A line as a loop, in plain data: values worked out by hand, at no tempo and so at every one."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from renderer.notation.pitch import Note
from renderer.notation.source_file import Source
from renderer.reading.exercise import read_exercise
from renderer.timing.expand import NoisePlace
from renderer.timing.loop_data import LeadIn, fits, loop_data

A_BAR = LeadIn(1, "clicks", None)


def loop(
    text: str,
    number: int = 1,
    lead_in: LeadIn = A_BAR,
    noises: dict[NoisePlace, Note] | None = None,
) -> dict[str, Any]:
    """A line of a definition in 2/4 (if it says nothing else)."""
    source = Source("larkmoor.toml", f'title = "Loops"\n{text}'.encode())
    return loop_data(read_exercise(source), number, lead_in, noises or {})


DOUBLINGS = """meter = "2/4"
gracenotes.length = "40 ms"
[[lines]]
run = "low A, B"
ornament = "doubling"
"""

GRIPS = """meter = "2/4"
gracenotes.length = "40 ms"
[[lines]]
run = "B, D"
ornament = "grip"
beat = "last"
inner = "100 ms"
"""

TUNE = """meter = "2/4"
tempo = 60
gracenotes.length = "20 ms"
[[lines]]
run = "D"
[[lines]]
abc = "A4 |: {g}B2 z2 | [Q:1/4=30] {gcd}c2 A2 :|"
"""


def test_a_closed_doubling_in_its_three_lengths() -> None:
    data = loop(DOUBLINGS)
    first, second, third, fourth = data["soundings"]
    # The G gracenote begins on the beat and lasts as long as the learner says, at least 20 ms.
    assert first == {
        "start": [["0", "0"]],
        "gracenote_lasts": [["0", "0", "1"], ["0", "0", "1"], ["0", "1/50"]],
        "note": 1,
        "gracenote": 7,
        "role": "inner",
        "bar": 1,
        "item": 1,
        "slot": 1,
        "leads_in": False,
        "id": "L1-B1-N1-S1",
        "gracenote_id": "L1-B1-N1-G1",
    }
    # Then the inner note: 50 ms as it should be, 25 at least; 25 after a gracenote of 20 is 45.
    assert second["start"] == [["0", "1/20", "1"], ["0", "1/40", "1"], ["0", "9/200"]]
    assert second["gracenote_lasts"] == first["gracenote_lasts"]
    assert (second["role"], second["gracenote"]) == ("melody", 4)
    assert (second["id"], second["gracenote_id"]) == ("L1-B1-N1-S2", "L1-B1-N1-G2")
    assert third["start"] == [["1", "0"]]
    assert fourth["start"] == [["1", "1/20", "1"], ["1", "1/40", "1"], ["1", "9/200"]]
    assert [one["note"] for one in data["soundings"]] == [1, 1, 2, 2]
    assert data["items"] == [[1, 1, "0"], [1, 2, "1"]]
    assert data["beats"] == "2"


def test_the_rooms_of_a_closed_doubling() -> None:
    inner, melody, second_inner, last = loop(DOUBLINGS)["rooms"]
    assert inner == second_inner == {
        "heard": [["0", "1/20"], ["0", "1/40"], ["0", "1/40"]],
        "needs": "3/200",
        "is_heard": True,
        "sides": [],
        "earlier": None,
        "later": None,
    }  # fmt: skip
    # Of the beat, two gracenotes and the inner note are taken: at least 2 x 20 + 25 ms.
    assert melody["heard"] == [["1", "-1/20", "-2"], ["1", "-1/40", "-2"], ["1", "-13/200"]]
    assert melody["sides"] == [[1, 1, False], [1, 2, True]]
    assert last["heard"] == melody["heard"]
    # The line follows itself.
    assert last["sides"] == [[1, 2, False], [1, 1, True]]


def test_the_fastest_tempo_of_a_closed_doubling() -> None:
    data = loop(DOUBLINGS)
    # A beat must hold 65 ms of movement and 15 ms of its note: 80 ms are 750 a minute, faster than
    # anything is played, so that nothing needs to come off its beat.
    assert data["fastest"] == data["on_the_beat"] == "750"
    assert data["places"] == []
    assert fits(data, Fraction(750))
    assert not fits(data, Fraction(751))


def test_what_has_no_movements_asks_for_nothing() -> None:
    plain = loop('[[lines]]\nabc = "B2 c2"\n')
    # A beat of at least 15 ms.
    assert plain["fastest"] == plain["on_the_beat"] == "4000"
    rests = loop('[[lines]]\nabc = "z4"\n')
    assert (rests["fastest"], rests["on_the_beat"]) == (None, None)
    assert fits(rests, Fraction(400))
    assert (plain["rooms"], rests["rooms"]) == ([], [])


def test_what_is_the_same_at_all_lengths_is_told_once() -> None:
    told = loop(DOUBLINGS)["soundings"]
    assert [len(one["start"]) for one in told] == [1, 3, 1, 3]
    opened = loop(DOUBLINGS + 'inner = "1/4 beat"\n')["soundings"]
    # Opened out the parts lie at shares of the beat, at every length.
    assert [one["start"][0][0] for one in opened] == ["0", "1/4", "1", "5/4"]
    assert {(len(one["start"]), one["start"][0][1]) for one in opened} == {(1, "0")}


def test_gracenotes_that_are_shares_of_the_beat_cannot_be_chosen() -> None:
    shares = loop(DOUBLINGS.replace("40 ms", "1/16 beat"))
    assert shares["gracenote"] is None
    assert shares["soundings"][0]["gracenote_lasts"][0] == ["1/16", "0"]
    free = loop(DOUBLINGS)
    assert (free["gracenote"], free["gracenote_least"]) == ("1/25", "1/50")
    # So can those of the least length.
    assert loop(TUNE, 2)["gracenote"] == "1/50"


def test_a_grip_before_the_beat_takes_its_time_from_what_comes_before() -> None:
    data = loop(GRIPS)
    low_g, again, melody, *_ = data["soundings"]
    # Two low Gs of 100 ms with a gracenote between; at least 25 ms each, with 20 ms between.
    assert low_g["start"] == [["0", "-1/5", "-1"], ["0", "-1/20", "-1"], ["0", "-7/100"]]
    assert low_g["gracenote_lasts"] == [["0", "0"]]
    assert (low_g["gracenote"], low_g["gracenote_id"]) == (None, None)
    assert again["start"] == [["0", "-1/10", "-1"], ["0", "-1/40", "-1"], ["0", "-9/200"]]
    assert melody["start"] == [["0", "0"]]
    assert [one["leads_in"] for one in data["soundings"]] == [True, True, False] * 2


def head_rooms(text: str, lead_in: LeadIn) -> list[dict[str, Any]]:
    """The rooms of silences: what is heard of them may be nothing."""
    return [room for room in loop(text, lead_in=lead_in)["rooms"] if not room["is_heard"]]


def test_the_count_in_is_the_room_of_a_movement_at_the_head_of_a_line() -> None:
    (one_bar,) = head_rooms(GRIPS, A_BAR)
    assert one_bar["heard"] == [["2", "-1/5", "-1"], ["2", "-1/20", "-1"], ["2", "-7/100"]]
    assert one_bar["needs"] == "0"
    assert one_bar["sides"] == [[1, 1, True]]
    (three_bars,) = head_rooms(GRIPS, LeadIn(3, "clicks", None))
    assert three_bars["heard"][0] == ["6", "-1/5", "-1"]
    # Two rolls of three beats, each with its beat of rest.
    (rolls,) = head_rooms(GRIPS, LeadIn(1, "rolls", None))
    assert rolls["heard"][0] == ["8", "-1/5", "-1"]


def test_an_introduction_leaves_a_beat_less_what_is_heard_of_it() -> None:
    (room,) = head_rooms(GRIPS, LeadIn(1, "clicks", Note.E))
    # At least 15 ms of the introduction are heard.
    assert room["heard"] == [["1", "-43/200", "-1"], ["1", "-13/200", "-1"], ["1", "-17/200"]]


SLOWER = (
    GRIPS.partition("[[lines]]")[0]
    + """tempo = 60
[[lines]]
abc = "[Q:1/4=30] {GdG}B8 | d8"
beat = "last"
inner = "100 ms"
"""
)


def test_the_count_in_of_a_line_that_is_marked_slower_is_slower_too() -> None:
    data = loop(SLOWER)
    assert [bar["stretch"] for bar in data["bars"]] == ["2", "2"]
    (clicks,) = head_rooms(SLOWER, A_BAR)
    assert clicks["heard"][0] == ["4", "-1/5", "-1"]
    (introduction,) = head_rooms(SLOWER, LeadIn(1, "clicks", Note.E))
    assert introduction["heard"][0] == ["2", "-43/200", "-1"]


def test_without_a_count_in_the_movement_takes_its_time_from_the_first_note_itself() -> None:
    data = loop(GRIPS, lead_in=LeadIn(0, "clicks", None))
    *rooms, head = data["rooms"]
    # The first note gives time to its own grip and to the next one: at least 70 ms each.
    assert head["heard"] == [["1", "-2/5", "-2"], ["1", "-1/10", "-2"], ["1", "-7/50"]]
    assert head["sides"] == [[1, 1, False], [1, 2, True], [1, 1, True]]
    # 140 + 15 ms are 60000/155 beats a minute. Faster than that grips come off the beat: later by
    # no more than they take, until 70 + 15 ms a beat, 60000/85.
    assert data["on_the_beat"] == "12000/31"
    assert data["fastest"] == "12000/17"
    assert data["places"] == [[1, 1, "0", "7/100"], [1, 2, "0", "7/100"]]
    assert [(room["earlier"], room["later"]) for room in rooms] == [
        (None, None), (None, None), (0, 1), (None, None), (None, None), (1, 0)
    ]  # fmt: skip
    assert (head["earlier"], head["later"]) == (None, 1)


def test_only_what_shrinks_or_gives_way_is_told_of_a_line() -> None:
    data = loop(
        'meter = "2/4"\ngracenotes.length = "40 ms"\n'
        '[[lines]]\nabc = "B2 c2 {GdG}d2 e2"\ninner = "100 ms"\nbeat = "first"\n'
    )
    # Half a beat holds a grip of 70 ms and 15 ms of D: 30 / 0.085. The grip can come as much
    # earlier as it lasts, so that two halves hold 15 ms of C beside these 85: 60 / 0.1.
    assert (data["on_the_beat"], data["fastest"]) == ("6000/17", "600")
    assert data["places"] == [[1, 3, "7/100", "0"]]
    c, first, second, d = data["rooms"]
    # C loses nothing to the grip on the beat, but does when that comes earlier.
    assert c == {
        "heard": [["1/2", "0"]],
        "needs": "3/200",
        "is_heard": True,
        "sides": [[1, 2, False], [1, 3, True]],
        "earlier": None,
        "later": 0,
    }
    assert first["sides"] == second["sides"] == []
    assert d["heard"] == [["1/2", "-1/5", "-1"], ["1/2", "-1/20", "-1"], ["1/2", "-7/100"]]
    assert (d["earlier"], d["later"]) == (0, None)
    # B and E stand beside notes that keep the beat, and are not among the rooms.


def test_bars_are_told_as_they_are_played_and_named_as_they_are_written() -> None:
    bars = loop(TUNE, 2)["bars"]
    assert [bar["written"] for bar in bars] == [1, 2, 3, 2, 3]
    # Half a bar before the first whole one, and that in two halves, twice.
    assert [bar["number"] for bar in bars] == ["0", "1", "1", "1", "1"]
    # At half the tempo a bar of one beat takes two.
    assert [bar["stretch"] for bar in bars] == ["1", "1", "2", "1", "2"]
    assert [bar["start"] for bar in bars] == ["0", "1", "2", "4", "5"]
    assert {bar["beats"] for bar in bars} == {"1"}
    assert {(bar["meter"], bar["compound"]) for bar in bars} == {(2, False)}
    # These bars are halves of bars of 2/4.
    assert [bar["offset"] for bar in bars] == ["1", "0", "1", "0", "1"]


def test_written_notes_and_soundings_lie_in_bars_as_they_are_played() -> None:
    data = loop(TUNE, 2)
    assert data["beats"] == "7"
    assert data["items"] == [
        [1, 1, "0"], [2, 1, "1"], [2, 2, "3/2"], [3, 1, "2"], [3, 2, "3"],
        [4, 1, "4"], [4, 2, "9/2"], [5, 1, "5"], [5, 2, "6"],
    ]  # fmt: skip
    assert [one["start"][0][0] for one in data["soundings"]] == [
        "0", "1", "3/2", "2", "2", "3", "4", "9/2", "5", "5", "6"
    ]  # fmt: skip
    assert [one["bar"] for one in data["soundings"]] == [1, 2, 2, 3, 3, 3, 4, 4, 5, 5, 5]
    # The second time a bar is played its notes are those of the same sheet.
    assert data["soundings"][6]["id"] == data["soundings"][1]["id"] == "L2-B2-N1-S1"
    assert data["soundings"][6]["gracenote_id"] == "L2-B2-N1-G1"
    rest = data["soundings"][2]
    assert (rest["role"], rest["note"]) == ("rest", None)


def test_a_noise_is_told_at_every_playing_of_its_place() -> None:
    noises: dict[NoisePlace, Note] = {
        (1, 3, 2, 1, False): Note.LOW_G,
        (1, 2, 1, 1, True): Note.D,
        (2, 1, 1, 1, True): Note.E,  # of another line
    }
    assert loop(TUNE, 2, noises=noises)["noises"] == [
        [1, True, 4], [5, False, 0], [6, True, 4], [10, False, 0]
    ]  # fmt: skip


def test_a_compound_meter_says_so() -> None:
    (bar,) = loop('meter = "6/8"\n[[lines]]\nrun = "B, D"\n')["bars"]
    assert (bar["meter"], bar["compound"], bar["beats"]) == (2, True, "2")
