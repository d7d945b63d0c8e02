"""What is said about a line: flags with their places, difficulty, advice."""

from __future__ import annotations

import re
from dataclasses import fields, replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from renderer.notation.abc.reader import read_abc_line
from renderer.notation.length import Length
from renderer.notation.pitch import Note, note_named
from renderer.notation.playing import Inner
from renderer.notation.score import Bar, Exercise, Item, Line, MelodyNote, Meter, Rest, Slot
from renderer.technique.advice import MOST_ADVICE, movement_remarks, sentences
from renderer.technique.cautions import CautionKind, cautions_of
from renderer.technique.choose import lead_into
from renderer.technique.difficulty import Causes, causes_of, difficulty, points_of
from renderer.technique.finger_changes import change
from renderer.technique.fingering import sounding
from renderer.technique.movement import Movement
from renderer.technique.ornaments import load_book
from renderer.technique.realise import recognise_bars
from renderer.technique.report import LineReport, assess, changes_of, crossings
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


def report(line: Line, **settings: Length | Inner) -> LineReport:
    return assess(Exercise("Test", (line,), **settings))[0]  # type: ignore[arg-type]


def sentences_of(found: LineReport) -> list[str]:
    return [one.text for one in found.advice]


def kinds(line: Line) -> list[tuple[str, int, Fraction]]:
    return [(flag.kind.value, flag.bar, flag.beat) for flag in report(line).flags]


def test_a_crossing_noise_is_flagged_at_its_beat_with_the_note_and_the_hand() -> None:
    flag = report(run("low A, E, D")).flags[0]
    assert (flag.kind, flag.line, flag.bar, flag.beat) == (CautionKind.CROSSING_NOISE, 1, 1, 3)
    assert flag.caution.text == (
        "E to D: right hand away before the left closes, or low A or low G sounds between."
    )
    assert flag.caution.heard == (Note.LOW_A, Note.LOW_G)


@pytest.mark.parametrize(
    ("pair", "text"),
    [
        ("Low A to D", "the right little finger comes down last, or low G sounds between"),
        ("C to low A", "lift the right little finger first, or low G sounds between"),
        (
            "C to E",
            "lift the left ring finger before the right hand closes, "
            "or low A or low G sounds between",
        ),
        ("Low G to F", "the right little finger must lift too, or the fingering of F is false"),
        ("F to D", "put the right little finger down first; it steadies the chanter"),
        ("F to D", "close the left middle and ring fingers together, or E sounds between"),
        ("Low G to E", "both hands together, or low A sounds between"),
        ("D to F", "the right hand must take its new place too, or the fingering of F is false"),
    ],
)
def test_a_caution_speaks_as_a_teacher_would(pair: str, text: str) -> None:
    flags = report(run(pair.replace(" to ", ", "))).flags
    assert f"{pair}: {text}." in {flag.caution.text for flag in flags}


@pytest.mark.parametrize("first", Note)
@pytest.mark.parametrize("second", Note)
def test_no_finger_is_heard_and_forgotten_in_one_change(first: Note, second: Note) -> None:
    for gracenote in (None, Note.HIGH_G):
        found = cautions_of(change(first, gracenote, second))
        heard = {f for c in found if c.kind is CautionKind.CROSSING_NOISE for f in c.fingers}
        forgotten = {f for c in found if c.kind is CautionKind.FALSE_FINGERING for f in c.fingers}
        assert not heard & forgotten


def test_a_little_finger_that_comes_down_last_is_not_called_forgotten_as_well() -> None:
    assert [kind for kind, _, _ in kinds(run("low A, D"))] == ["crossing noise", "rolling noise"]


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
    assert text in sentences_of(found)


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
    assert not report(run("low A, B, low A, E, F")).advice


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


def test_what_spoils_most_is_said_first_with_the_bar_where_it_first_occurs() -> None:
    line = Line((*run("low A, B").bars, *run("F, D, F, D").bars, *run("low A, D").bars))
    advice = report(line).advice
    assert str(advice[0]) == (
        "Bar 2: B to F: left hand away before the right closes, or low A sounds between."
    )
    assert (advice[1].bar, advice[1].beat) == (2, 2)
    assert len(advice) == MOST_ADVICE


def test_what_is_the_same_to_do_is_said_once() -> None:
    # From E and from F the right hand goes first: one sentence, at the first of them.
    found = sentences_of(report(run("low A, E, D, F, D")))
    assert [text for text in found if "right hand away" in text] == [
        "E to D: right hand away before the left closes, or low A or low G sounds between."
    ]


def test_a_sheet_says_each_thing_once_where_it_first_occurs() -> None:
    lines = (run("low G, low A", "G gracenote"), run("E, D"), run("low G, E, D", "G gracenote"))
    first, second, third = assess(Exercise("Test", lines))
    assert (
        sum("shuts down" in text for one in (first, second, third) for text in sentences_of(one))
        == 1
    )
    assert [one.bar for one in second.advice] == [1]
    assert not {*sentences_of(third)} & {*sentences_of(first), *sentences_of(second)}
    assert third.as_lines == (1, 2)


def test_advice_on_an_easy_line_is_about_its_movement() -> None:
    closed = sentences_of(report(run("low A, B", "doubling")))
    assert closed == [
        "Hear the note twice: if the separating gracenote comes too early, it swallows the first "
        "sounding.",
        "Make the separating gracenote as short as the first.",
    ]
    half = Inner((Length(Fraction(1, 2), "beat"),))
    assert sentences_of(report(run("low A, B", "doubling"), inner=half))[0] == (
        "Opened out, wait for the separating gracenote: the first sounding keeps its full length."
    )


def test_a_sentence_speaks_only_of_what_the_movement_at_hand_has() -> None:
    # High G and high A doublings have one gracenote; a grip from low G one low G of its own.
    assert not any(
        "as the first" in text for text in sentences_of(report(run("high G", "doubling")))
    )
    from_low_g = sentences_of(report(Line((*run("low G").bars, *run_after("low G", "B", "grip")))))
    assert not any("Both low Gs" in text for text in from_low_g)
    assert any("after the D gracenote" in text for text in from_low_g)
    from_d = sentences_of(report(Line((*run("D").bars, *run_after("D", "B", "grip")))))
    assert any("after the B gracenote" in text for text in from_d)


def run_after(previous: str, note: str, ornament: str) -> tuple[Bar, ...]:
    """A bar with one note and its movement, coming from another note."""
    choice = lead_into(BOOK, ornament, note_named(note), note_named(previous))
    return (Bar((MelodyNote(BEAT, choice.slots, choice.name),), Meter(1, 4)),)


@pytest.mark.parametrize("movement", BOOK.movements, ids=lambda one: one.name)
def test_something_is_said_of_every_movement_however_it_is_played(movement: Movement) -> None:
    for previous in (None, *Note):
        for note in movement.notes:
            slots = movement.slots(note, previous)
            for opened in (False, True):
                remarks = list(
                    movement_remarks(movement, slots, previous, opened=opened, bar=1, beat=BEAT)
                )
                assert remarks, (movement.name, previous, note, opened)
                for remark in remarks:
                    assert remark.text.endswith(".") and len(remark.text) < 120
                    assert not {"{", "}"} & {*remark.text}


def test_every_sentence_is_about_a_movement_of_the_book_and_names_its_source() -> None:
    named = set(sentences())
    assert named <= {movement.name for movement in BOOK}
    assert all(movement.name in named or movement.way_of in named for movement in BOOK)
    assert all(one.source for rows in sentences().values() for one in rows)


@pytest.mark.parametrize("movement", BOOK.movements, ids=lambda one: one.name)
def test_a_sentence_names_no_gracenote_and_no_note_that_the_movement_lacks(
    movement: Movement,
) -> None:
    for previous in (None, *Note):
        for note in movement.notes:
            slots = movement.slots(note, previous)
            group = {slot.gracenote for slot in slots if slot.gracenote is not None}
            sounded = {slot.note for slot in slots} | (
                {previous} if previous is not None else set()
            )
            for remark in movement_remarks(
                movement, slots, previous, opened=False, bar=1, beat=BEAT
            ):
                for word in re.findall(r"\b(G|B|D|E|F) gracenote", remark.text):
                    if "no larger than a" not in remark.text:
                        assert note_named("high G" if word == "G" else word) in group, remark.text
                for word in re.findall(r"\b(low G|low A)s?\b", remark.text):
                    assert note_named(word) in sounded, remark.text


@given(exercises())
def test_every_line_gets_a_report_whose_flags_lie_in_it(exercise: Exercise) -> None:
    for line, found in zip(exercise.lines, assess(exercise), strict=True):
        assert len(found.advice) <= MOST_ADVICE
        assert len(set(found.advice)) == len(found.advice)
        assert all(len(sentence) < 130 for sentence in sentences_of(found))
        assert all(1 <= one.bar <= len(line.bars) for one in found.advice)
        assert all(1 <= number < found.line for number in found.as_lines)
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
def test_no_sheet_says_one_sentence_twice(exercise: Exercise) -> None:
    said = [text for found in assess(exercise) for text in sentences_of(found)]
    assert len(set(said)) == len(said)


@given(exercises())
def test_the_advice_is_among_the_flags_or_about_a_movement(exercise: Exercise) -> None:
    for found in assess(exercise):
        texts = {flag.caution.text for flag in found.flags}
        assert {*sentences_of(found)} <= texts


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


def test_difficulty_is_that_of_the_hardest_movement_and_a_share_of_the_points_a_beat() -> None:
    causes = causes_of([change(Note.D, None, Note.F)])
    points = sum(points_of(causes).values())
    assert points == 27
    assert difficulty(causes, Fraction(1)) == pytest.approx(27 / 5)
    assert difficulty(causes, Fraction(2), tempo=Fraction(90), hardest=5) == pytest.approx(
        5 + 27 / 5 / 2 * 1.5
    )
    assert causes == Causes(
        finger=6, both_hands=1, crossing_noise=1, rolling_noise=1, forgotten_finger=4,
        missing_hold=1, big_change=3,
    )  # fmt: skip
    with pytest.raises(ValueError, match="more than 0 beats"):
        difficulty(causes, Fraction(0))


def test_the_runs_that_teachers_call_harder_come_out_harder() -> None:
    # Judgement: a hand that stays is easier than hands that cross.
    order = ["low A, B, low A", "low A, C, low A", "C, E, C", "F, D, F", "high A, D, high A"]
    scores = [report(run(names)).difficulty for names in order]
    assert scores == sorted(scores)
    assert len(set(scores)) == len(scores)
