"""Up to which tempo a melody note keeps the length of its ornament's parts."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given

from renderer.errors import RungwiseError
from renderer.notation.definition.reader import parse_definition
from renderer.notation.pitch import Note
from renderer.notation.score import Bar, Exercise, Line, MelodyNote, Meter, Slot
from renderer.order.tracks import expand
from renderer.technique.realise import realise
from renderer.timing.fit import even_tempos, fastest_tempos, limits_on_the_beat, spoken_limit
from renderer.timing.room import QUICK_SECONDS, Joins, rooms
from renderer.timing.soundings import chains_of
from renderer.timing.successions import successions
from renderer.timing.timeline import Role
from tests.timing.strategies import exercises

MOVEMENTS = ("G gracenote", "doubling", "grip", "taorluath", "birl with a G gracenote")


def exercise(movement: str, more: str = "") -> Exercise:
    on = 'on = "low A"' if "birl" in movement else ""
    text = f'[[lines]]\nrun = "B, low A, C"\nornament = "{movement}"\n{on}\n{more}'
    return realise(parse_definition(text))


def keeps_its_length(music: Exercise, tempo: Fraction) -> bool:
    """Whether nothing is shortened and each melody note is as long as gracenotes and inner notes.

    Of closed movements the notes themselves are compared, of opened ones their slots.
    """
    track = expand(music, tempo=tempo, repeats=2)
    if any("shortened" in remark for remark in track.remarks):
        return False
    is_opened = any(music.inner_of(line).is_opened for line in music)
    inner: list[Fraction] = []
    gracenote = Fraction(0)
    for event in track:
        lasts = event.length + (gracenote if is_opened else 0)
        if event.role is Role.MELODY and (
            event.length < gracenote or lasts < max([*inner, Fraction(0)])
        ):
            return False
        inner = [*inner, lasts] if event.role is Role.INNER else inner
        inner = [] if event.role is Role.MELODY else inner
        gracenote = event.length if event.role is Role.GRACENOTE else Fraction(0)
    return True


@pytest.mark.parametrize("movement", MOVEMENTS)
@pytest.mark.parametrize("more", ["", "notes-per-beat = 3", 'rhythm = "dot-cut"'])
def test_up_to_that_tempo_a_track_keeps_melody_notes_as_long_as_the_parts(
    movement: str, more: str
) -> None:
    music = exercise(movement, more)
    (even,), (fastest,) = even_tempos(music), fastest_tempos(music)
    assert even is not None and fastest is not None
    assert even < fastest
    assert keeps_its_length(music, min(even, Fraction(400)))
    if even * Fraction(101, 100) < min(fastest, Fraction(400)):
        assert not keeps_its_length(music, even * Fraction(101, 100))


def test_the_remedies_for_an_opened_grip_without_room_give_it_room() -> None:
    head = 'meter = "2/4"\nornaments.inner = "{}"\n[[lines]]\nornament = "grip"\n{}'
    short = realise(parse_definition(head.format("1/2 beat", 'run = "B, low A, C"')))
    short = replace(short, source="short.toml")
    with pytest.raises(RungwiseError, match="'1/3 beat', fits; or give the note") as caught:
        expand(short, tempo=40)
    assert "by a | after it" in str(caught.value)
    for inner, music in (
        ("1/3 beat", 'run = "B, low A, C"'),
        ("1/2 beat", 'run = "B | low A | C"'),
    ):
        assert keeps_its_length(realise(parse_definition(head.format(inner, music))), Fraction(40))


def test_a_doubling_stays_even_up_to_a_note_of_two_gracenotes_and_two_notes_of_50_ms() -> None:
    shortest = 2 * Fraction(45 + 50, 1000)
    assert even_tempos(exercise("doubling")) == (60 / shortest,)
    assert even_tempos(exercise("doubling", "notes-per-beat = 4")) == (15 / shortest,)


def test_a_gracenote_leaves_its_note_as_much_again() -> None:
    assert even_tempos(exercise("G gracenote")) == (60 / Fraction(90, 1000),)


def test_equal_parts_of_an_opened_movement_are_even_as_far_as_gracenotes_go() -> None:
    assert even_tempos(exercise("doubling", 'inner = "1/2 beat"')) == (30 / Fraction(90, 1000),)
    assert even_tempos(exercise("doubling", 'inner = "2/3 beat"')) == (0,)


def test_parts_longer_together_than_their_note_fit_at_no_tempo() -> None:
    assert fastest_tempos(exercise("doubling", 'inner = "2 beats"')) == (0,)


def test_plain_notes_are_even_at_every_tempo() -> None:
    assert even_tempos(realise(parse_definition('[[lines]]\nrun = "B, C"'))) == (None,)


@pytest.mark.parametrize(
    ("tempo", "words"), [("342.86", "342"), ("93.75", "93"), ("10", "10"), ("9.87", "9.8")]
)
def test_a_limit_is_spoken_in_whole_beats_and_never_too_fast(tempo: str, words: str) -> None:
    assert spoken_limit(Fraction(tempo)) == words


def limits_of_whole_lines(music: Exercise) -> list[tuple[Fraction | None, Fraction | None]]:
    """The fastest tempo with room and that without shortening, from each line's rooms as a whole.

    The second is that of `even_tempos` without its melody notes as long as parts.
    """
    found = []
    natural, shortest = chains_of(music), chains_of(music, "least")
    for index in range(len(music.lines)):
        rooms_of = (rooms(chains, index, Joins(repeated=True)) for chains in (natural, shortest))
        pairs = list(zip(*rooms_of, strict=True))
        fastest = [room.fastest for _, room in pairs if room.fastest is not None]
        own = [
            limit
            for room, least in pairs
            if room.heard != least.heard
            and room.sounding is not None
            and room.sounding.role is Role.MELODY
            and (limit := replace(room, needs=QUICK_SECONDS).fastest) is not None
        ]
        found.append((min(fastest, default=None), min(own, default=None)))
    return found


@given(exercises(tied=True))
def test_a_line_fits_up_to_the_tempo_at_which_the_tightest_of_its_notes_does(
    music: Exercise,
) -> None:
    whole = limits_of_whole_lines(music)
    assert [fastest for fastest, _ in limits_on_the_beat(music)] == [
        fastest for fastest, _ in whole
    ]
    for giving_way, (on_the_beat, _) in zip(fastest_tempos(music), whole, strict=True):
        if giving_way is None or not on_the_beat:
            assert giving_way == on_the_beat
        else:
            assert giving_way >= on_the_beat
    for even, (_, own) in zip(even_tempos(music), whole, strict=True):
        assert own is None or (even is not None and even <= own)


def test_alike_notes_are_asked_once_however_many_lines_have_them() -> None:
    line = '[[lines]]\nrun = "low A, B, D"\nornament = "grip"\nwalk = true\n'
    one, hundred = (realise(parse_definition(line * count)) for count in (1, 100))
    assert len(successions(one).exercise.lines) == len(successions(hundred).exercise.lines) == 9
    assert fastest_tempos(hundred) == fastest_tempos(one) * 100


def test_a_tied_note_lengthens_the_one_before_it_round_the_end_of_its_line_too() -> None:
    b, led_c = (Slot(Note.B),), (Slot(Note.C, Note.D),)
    still_c = MelodyNote(Fraction(1, 2), (Slot(Note.C),), tied=True)
    bar = Bar((still_c, MelodyNote(Fraction(1), b), MelodyNote(Fraction(1), led_c)), Meter(3, 4))
    music = Exercise("Tied", (Line((bar, Bar((still_c,), Meter(3, 4)))),))
    # C lasts two beats with what is tied to it, after a gracenote of 20 ms and for 15 ms at least.
    assert [[bar.beats for bar in line.bars] for line in successions(music).exercise.lines] == [
        [1, 1],
        [1, Fraction(1, 2), Fraction(1, 2), 1],
    ]
    assert fastest_tempos(music) == (2 * 60 / Fraction(20 + 15, 1000),)
