"""What is said about a line: flags with their places, difficulty, advice."""

from __future__ import annotations

from dataclasses import fields, replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from renderer.notation.abc.reader import read_abc_line
from renderer.notation.length import Length
from renderer.notation.pitch import Note, note_named
from renderer.notation.score import Bar, Exercise, Item, Line, MelodyNote, Meter, Rest, Slot
from renderer.technique.cautions import CautionKind, cautions_of
from renderer.technique.choose import lead_into
from renderer.technique.difficulty import Causes, causes_of, difficulty, points_of
from renderer.technique.fingering import change, sounding
from renderer.technique.ornaments import Movement, load_book
from renderer.technique.realise import recognise_bars
from renderer.technique.report import MOST_ADVICE, LineReport, assess, changes_of, crossings
from tests.timing.strategies import exercises

BOOK = load_book()
BEAT = Fraction(1)


def plain(note: Note, beats: Fraction = BEAT) -> MelodyNote:
    return MelodyNote(beats, (Slot(note),))


def run(names: str, ornament: str | None = None) -> Line:
    """One bar with one beat to a note, the ornament on each."""
    items: list[Item] = []
    previous = None
    for name in names.split(", "):
        note = note_named(name)
        if ornament is None:
            items.append(plain(note))
        else:
            choice = lead_into(BOOK, ornament, note, previous)
            items.append(MelodyNote(BEAT, choice.slots, choice.name))
        previous = note
    return Line((Bar(tuple(items), Meter(len(items), 4)),))


def written_out(abc: str) -> Line:
    """One bar of crotchets."""
    meter = Meter(len(abc.split()), 4)
    return Line(recognise_bars(read_abc_line(f"[L:1/4] {abc}", meter), BOOK))


def report(line: Line, **settings: Length) -> LineReport:
    return assess(Exercise("Test", (line,), **settings))[0]  # type: ignore[arg-type]


def kinds(line: Line) -> list[tuple[str, int, Fraction]]:
    return [(flag.kind.value, flag.bar, flag.beat) for flag in report(line).flags]


def test_a_crossing_noise_is_flagged_at_its_beat_with_the_note_and_the_hand() -> None:
    flag = report(run("low A, E, D")).flags[0]
    assert (flag.kind, flag.line, flag.bar, flag.beat) == (CautionKind.CROSSING_NOISE, 1, 1, 3)
    assert flag.caution.text == (
        "E to D: right hand away before the left closes, or low A sounds between."
    )
    assert flag.caution.heard is Note.LOW_A


@pytest.mark.parametrize(
    ("pair", "text"),
    [
        ("Low A to D", "the right little finger comes down last, or low G sounds between"),
        ("C to low A", "lift the right little finger first, or low G sounds between"),
        (
            "C to E",
            "lift the left ring finger before the right hand closes, or low A sounds between",
        ),
        ("Low G to F", "the right little finger must lift too, though unheard"),
        (
            "F to D",
            "only the thumb and left index finger hold the chanter; "
            "lower the right little finger first",
        ),
        ("C to F", "a big change, five fingers of both hands"),
        ("D to F", "the right hand must take its new place too, though unheard"),
    ],
)
def test_a_caution_speaks_as_a_teacher_would(pair: str, text: str) -> None:
    flags = report(run(pair.replace(" to ", ", "))).flags
    assert f"{pair}: {text}." in {flag.caution.text for flag in flags}


@pytest.mark.parametrize("first", Note)
@pytest.mark.parametrize("second", Note)
def test_no_finger_is_called_heard_and_unheard_in_one_change(first: Note, second: Note) -> None:
    for gracenote in (None, Note.HIGH_G):
        found = cautions_of(change(first, gracenote, second))
        heard = {f for c in found if c.kind is CautionKind.CROSSING_NOISE for f in c.fingers}
        silent = {f for c in found if c.kind is CautionKind.SILENT_FINGER for f in c.fingers}
        assert not heard & silent


def test_a_little_finger_that_comes_down_last_is_not_called_unheard_as_well() -> None:
    assert [kind for kind, _, _ in kinds(run("low A, D"))] == ["crossing noise", "big change"]


def test_a_g_gracenote_on_low_g_may_choke_the_chanter() -> None:
    assert ("chanter choke", 1, 1) in kinds(run("low G", "G gracenote"))
    assert not kinds(run("low G", "D gracenote"))


@pytest.mark.parametrize(
    ("abc", "beat", "text"),
    [
        ("{d}d {g}e", 1, "D: a D gracenote cannot be heard on D; choose a higher or a lower one."),
        (
            "e {g}g",
            2,
            "E to high G: a high G gracenote cannot be heard on high G; "
            "choose one above both or below both.",
        ),
        (
            "d {d}e",
            2,
            "D to E: a D gracenote cannot be heard after D; choose one above both or below both.",
        ),
        (
            "B {d}e",
            2,
            "B to E: coming up from B, D would only be passed through; "
            "choose one above both or below both.",
        ),
        (
            "a {g}e",
            2,
            "High A to E: coming down from high A, high G would only be passed through; "
            "choose one above both or below both.",
        ),
    ],
)
def test_a_gracenote_that_nobody_hears_is_flagged_at_its_beat(
    abc: str, beat: int, text: str
) -> None:
    found = report(written_out(abc))
    flags = [flag for flag in found.flags if flag.kind is CautionKind.UNHEARD_GRACENOTE]
    assert [(flag.bar, flag.beat, flag.caution.text) for flag in flags] == [(1, beat, text)]
    assert text in found.advice


@pytest.mark.parametrize("abc", ["{g}d {e}B {d}B", "{g}B z {d}e", "B {G}B", "{gef}e {g}A"])
def test_a_gracenote_above_or_below_both_its_neighbours_is_heard(abc: str) -> None:
    assert not report(written_out(abc)).count(CautionKind.UNHEARD_GRACENOTE)


@pytest.mark.parametrize("movement", BOOK.movements, ids=lambda one: one.name)
def test_every_gracenote_of_every_movement_is_heard(movement: Movement) -> None:
    for previous in Note:
        for note in movement.notes:
            slots = lead_into(BOOK, movement.name, note, previous).slots
            bar = Bar((plain(previous), MelodyNote(BEAT, slots, movement.name)), Meter(2, 4))
            assert not report(Line((bar,))).count(CautionKind.UNHEARD_GRACENOTE)


def test_an_easy_line_has_no_flag() -> None:
    assert not kinds(run("low A, B, low A, E, F"))


def test_changes_inside_an_ornament_are_placed_at_their_slot() -> None:
    placed = list(changes_of(run("E, B", "grip")))
    assert [(one.beat, one.slot) for one in placed] == [
        (1, 1), (1, 2), (1, 3), (2, 1), (2, 2), (2, 3),
    ]  # fmt: skip
    assert (placed[3].change.previous, placed[3].change.note) == (Note.E, Note.LOW_G)


def test_a_tied_note_moves_no_finger_and_a_rest_lets_the_fingers_go() -> None:
    tied = replace(plain(Note.D), tied=True)
    line = Line((Bar((plain(Note.D), tied, Rest(BEAT), plain(Note.F)), Meter(4, 4)),))
    assert [one.item for one in changes_of(line)] == [1, 4]
    assert not report(line).flags


def test_crossings_name_the_slot_and_whether_the_gracenote_hides_the_noise() -> None:
    plainly = crossings(run("C, E"))
    assert [(c.bar, c.item, c.slot, c.before_gracenote) for c in plainly] == [(1, 2, 1, False)]
    graced = crossings(run("C, E", "G gracenote"))
    assert [(c.bar, c.item, c.slot, c.before_gracenote) for c in graced] == [(1, 2, 1, True)]
    assert graced[0].heard is Note.LOW_A
    assert graced[0].hand_first == "left"


def test_what_is_played_is_said_in_words() -> None:
    assert report(run("low A, B, D", "doubling")).played == (
        "doubling on low A, B and D; 3 notes in 1 bar"
    )
    assert report(run("low A, B")).played == "plain low A and B; 2 notes in 1 bar"
    assert report(Line((Bar((Rest(BEAT),), Meter(1, 4)),))).played == "rests only; 0 notes in 1 bar"


def test_the_gravest_and_most_frequent_caution_is_advised_first() -> None:
    advice = report(run("F, D, F, D, low A, D")).advice
    assert advice[0].startswith("F to D: right hand away")
    assert len(advice) == MOST_ADVICE


def test_advice_does_not_say_one_thing_of_one_finger_twice() -> None:
    advice = report(run("low A, D")).advice
    assert [sentence for sentence in advice if "right little finger" in sentence] == [advice[0]]


def test_advice_on_an_easy_line_is_about_its_movement() -> None:
    advice = report(run("low A, B", "doubling")).advice
    assert advice == ("Make the second gracenote of the doubling as short as the first.",)
    half = Length(Fraction(1, 2), "beat")
    assert report(run("low A, B", "doubling"), inner=half).advice[0] == (
        "Opened out, both soundings of the note last equally long."
    )


@given(exercises())
def test_every_line_gets_a_report_whose_flags_lie_in_it(exercise: Exercise) -> None:
    for line, found in zip(exercise.lines, assess(exercise), strict=True):
        assert len(found.advice) <= MOST_ADVICE
        assert len(set(found.advice)) == len(found.advice)
        assert all(len(sentence) < 120 for sentence in found.advice)
        assert found.difficulty >= 0
        for flag in found.flags:
            bar = line.bars[flag.bar - 1]
            item = bar.items[flag.item - 1]
            assert isinstance(item, MelodyNote)
            assert 1 <= flag.slot <= len(item.slots)
            assert flag.beat == 1 + sum(
                (one.beats for one in bar.items[: flag.item - 1]), Fraction()
            )


@given(exercises())
def test_the_advice_is_among_the_flags_or_about_a_movement(exercise: Exercise) -> None:
    for found in assess(exercise):
        texts = {flag.caution.text for flag in found.flags}
        assert set(found.advice) <= texts


@given(st.none() | st.sampled_from(Note), st.none() | st.sampled_from(Note), st.sampled_from(Note))
def test_any_change_ends_on_its_note_and_sounds_its_gracenote(
    previous: Note | None, gracenote: Note | None, note: Note
) -> None:
    made = change(previous, gracenote, note)
    if made.steps:
        assert made.steps[-1].sounds is note
    if gracenote is not None and gracenote not in (previous, note):
        assert gracenote in {step.sounds for step in made.steps}
    for step in made.steps:
        assert bool(step.lifted) != bool(step.closed)
        assert sounding(step.after) is step.sounds
    if gracenote is None:
        # Lifting before closing never sounds lower than both notes.
        assert all(step.sounds >= min(made.previous, note) for step in made.steps)
    assert all(caution.text.endswith(".") for caution in cautions_of(made))


counts = st.integers(0, 50)


CAUSES = [field.name for field in fields(Causes)]


@given(st.builds(Causes, *[counts] * len(CAUSES)), st.sampled_from(CAUSES), st.integers(1, 16))
def test_more_of_any_cause_makes_a_line_harder(causes: Causes, cause: str, beats: int) -> None:
    harder = replace(causes, **{cause: getattr(causes, cause) + 1})
    assert difficulty(harder, Fraction(beats)) > difficulty(causes, Fraction(beats))


def test_a_line_played_twice_is_as_hard_as_played_once() -> None:
    once = [change(Note.D, None, Note.F), change(Note.F, Note.HIGH_G, Note.D)]
    assert difficulty(causes_of(once * 2), Fraction(4)) == difficulty(causes_of(once), Fraction(2))


def test_difficulty_is_the_sum_of_the_points_a_beat() -> None:
    causes = causes_of([change(Note.D, None, Note.F)])
    assert difficulty(causes, Fraction(1)) == sum(points_of(causes).values())
    assert causes == Causes(
        finger=6, both_hands=1, crossing_noise=1, silent_finger=4, missing_hold=1, big_change=3
    )
    with pytest.raises(ValueError, match="more than 0 beats"):
        difficulty(causes, Fraction(0))


def test_the_runs_that_teachers_call_harder_come_out_harder() -> None:
    # Judgement: a hand that stays is easier than hands that cross.
    order = ["low A, B, low A", "low A, C, low A", "C, E, C", "F, D, F", "high A, D, high A"]
    scores = [report(run(names)).difficulty for names in order]
    assert scores == sorted(scores)
    assert len(set(scores)) == len(scores)
