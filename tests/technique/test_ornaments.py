"""The ornament book: reading fragments, finding names, a teacher's own entries."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from renderer.errors import Problem, RungwiseError
from renderer.notation.definition.reader import parse_definition
from renderer.notation.pitch import Note
from renderer.notation.score import Slot
from renderer.technique.fragments import Fragment, fragment_abc, parse_fragment, silent_join
from renderer.technique.movement import Movement
from renderer.technique.ornaments import OrnamentBook, load_book
from renderer.technique.realise import realise

BOOK = load_book()
PUBLISHED = (
    "teachyourselfbagpipes.co.uk, page",
    "bagpipes.ksfraser.ca, page",
    "patrickmclaurin.com",
    "svenax.net/site/canntaireachd",
)
"""What the book was compared with: tutors and syllabuses, and the key to a canntaireachd."""


def every_form() -> list[tuple[Movement, Note | None, Note, Fragment]]:
    forms: list[tuple[Movement, Note | None, Note, Fragment]] = []
    for movement in BOOK:
        forms += [(movement, None, note, slots) for note, slots in movement.fragments.items()]
        for previous, fragments in movement.approaches.items():
            forms += [(movement, previous, note, slots) for note, slots in fragments.items()]
    return forms


def problems_of(table: dict[str, Any], book: OrnamentBook = BOOK) -> tuple[Problem, ...]:
    with pytest.raises(RungwiseError) as caught:
        book.extended(table)
    return caught.value.problems


slots = st.builds(Slot, st.sampled_from(Note), st.none() | st.sampled_from(Note))


@given(st.lists(slots, min_size=1, max_size=16).map(tuple))
def test_a_fragment_reads_back_as_it_is_written(fragment: Fragment) -> None:
    assert parse_fragment(fragment_abc(fragment)) == fragment


@pytest.mark.parametrize("text", ["", "  ", "{g}", "{gB}B", "H", "B2", "{g}B {d", "B" * 17, "{}B"])
def test_what_is_no_fragment_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r".+"):
        parse_fragment(text)


@given(st.text(max_size=20))
def test_any_text_is_a_fragment_or_refused_in_words(text: str) -> None:
    try:
        assert parse_fragment(text)
    except ValueError as error:
        assert len(str(error)) > 10


def test_every_movement_says_where_it_comes_from() -> None:
    for movement in BOOK:
        assert movement.description.endswith("."), movement.name
        published = any(site in movement.source for site in PUBLISHED)
        assert published or "common practice" in movement.source or "from memory" in movement.source
        assert movement.family


def test_no_gracenote_of_the_book_equals_a_neighbour() -> None:
    for movement, previous, note, fragment in every_form():
        assert fragment[-1].note is note, movement.name
        assert silent_join(fragment, previous) is None, (movement.name, note)


def test_every_gracenote_inside_a_movement_is_a_lift_or_a_tap() -> None:
    for movement, previous, _, fragment in every_form():
        before = previous
        for slot in fragment:
            if slot.gracenote is not None and before is not None:
                lifted = slot.gracenote > before and slot.gracenote > slot.note
                tapped = slot.gracenote < before and slot.gracenote < slot.note
                assert lifted or tapped, (movement.name, fragment_abc(fragment))
            before = slot.note


def test_every_name_and_spelling_means_one_movement() -> None:
    for movement in BOOK:
        for word in (movement.name, *movement.spellings):
            assert BOOK.movement(word) is movement
            assert BOOK.movement(f"  {word.upper().replace(' ', '-')} ") is movement


def test_every_replacement_is_in_the_book() -> None:
    for movement in BOOK:
        for name in movement.instead:
            assert BOOK.movement(name).name == name


@pytest.mark.parametrize(
    ("wrong", "right"),
    [("doublin", "'doubling'"), ("Thow on D", "'throw on D'"), ("tarluath", "'taorluath'")],
)
def test_a_wrong_name_suggests_the_nearest(wrong: str, right: str) -> None:
    with pytest.raises(ValueError, match=right):
        BOOK.movement(wrong)


@pytest.mark.parametrize("name", ["xqzwv", "embari", "catch", "x"])
def test_a_name_like_no_other_points_to_the_book(name: str) -> None:
    with pytest.raises(ValueError, match=r"; `rungwise ornaments` lists the book$"):
        BOOK.movement(name)


def test_at_most_three_near_names_are_offered() -> None:
    with pytest.raises(ValueError, match=r"'throw on D', '[^']+' and '[^']+'$"):
        BOOK.movement("throw")


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("Doublings", "doubling"),
        ("half-doublings", "half doubling"),
        ("THROWS ON D", "throw on D"),
        ("G grace notes", "G gracenote"),
        ("g-gracenote", "G gracenote"),
        ("lemluath", "grip"),
        ("Leumluaths", "grip"),
        ("birls", "birl"),
        # Other names of the trade; accents are free too.
        ("Pelé", "shake"),
        ("peles", "shake"),
        ("hornpipe shake", "shake"),
        ("thumb pelé", "thumb shake"),
        ("slur", "strike with a G gracenote"),
        ("hara", "strike with a G gracenote"),
        ("G gracenote strike", "strike with a G gracenote"),
        ("edre", "throw on E"),
        ("dare", "throw on F"),
        ("chedari", "throw on high G"),
        ("darodo", "bubbly note"),
        ("tripling", "G-D-E gracenotes"),
        ("echo beats", "double strike"),
    ],
)
def test_plurals_capitals_and_hyphens_are_free_in_names(written: str, meant: str) -> None:
    assert BOOK.movement(written).name == meant


@pytest.mark.parametrize("written", ["doubling, grip", "doubling and grip", "doubling/grip"])
def test_several_movements_in_one_text_are_to_be_written_as_a_list(written: str) -> None:
    with pytest.raises(ValueError, match=r"several as a list: \['doubling', 'grip'\]"):
        BOOK.movement(written)


def test_a_note_without_the_movement_says_which_notes_have_it() -> None:
    with pytest.raises(ValueError, match="no birl on B; only low A has one"):
        BOOK.movement("birl").slots(Note.B)
    with pytest.raises(ValueError, match="low G, low A, B and C"):
        BOOK.movement("D gracenote").slots(Note.E)


def test_a_teacher_can_add_a_movement() -> None:
    book = BOOK.extended({"echo on E": {"fragments": {"E": "{g}e {f}e {f}e"}}})
    assert fragment_abc(book.movement("Echo on E").slots(Note.E)) == "{g}e {f}e {f}e"
    assert book.movement("echo on E").source == "the definition file"
    assert book.movement("grip") is BOOK.movement("grip")


def test_a_teacher_can_override_one_note_of_a_movement_by_any_of_its_names() -> None:
    book = BOOK.extended({"D throw": {"fragments": {"D": "G {d}G {d}c d"}}})
    throw = book.movement("throw on D")
    assert fragment_abc(throw.slots(Note.D)) == "G {d}G {d}c d"
    assert throw.spellings == BOOK.movement("throw on D").spellings


def test_an_overridden_note_loses_the_approaches_that_the_book_gives_it() -> None:
    book = BOOK.extended({"grip": {"fragments": {"B": "{g}G {d}G B"}}})
    assert fragment_abc(book.movement("grip").slots(Note.B, Note.D)) == "{g}G {d}G B"
    assert fragment_abc(book.movement("grip").slots(Note.C, Note.D)) == "G {B}G c"


def test_a_teacher_can_override_an_approach_alone() -> None:
    book = BOOK.extended({"grip": {"from": {"D": {"B": "G {d}G B"}}}})
    assert fragment_abc(book.movement("grip").slots(Note.B, Note.D)) == "G {d}G B"
    assert fragment_abc(book.movement("grip").slots(Note.B, Note.E)) == "G {d}G B"


def test_every_problem_is_reported_at_once_each_with_its_place() -> None:
    table = {
        "throw on D": {"fragments": {"D": "G {d}c"}, "sauce": "mine"},
        "shake": {"fragmints": {}},
        "knock": {"fragments": {"B": "{q}B", "X": "B"}},
        "empty": {},
        "text": "grip",
        "tap": {"fragments": {"B": "{B}B"}},
    }
    found = {problem.place: problem for problem in problems_of(table)}
    assert found.keys() == {
        "ornament-book.throw on D.sauce",
        "ornament-book.throw on D.fragments.D",
        "ornament-book.shake.fragmints",
        "ornament-book.knock.fragments.B",
        "ornament-book.knock.fragments.X",
        "ornament-book.empty",
        "ornament-book.text",
        "ornament-book.tap.fragments.B",
    }
    assert "'fragments'" in found["ornament-book.shake.fragmints"].remedy
    assert "low G, low A, B" in found["ornament-book.knock.fragments.X"].remedy
    assert all(problem.remedy for problem in found.values())


@pytest.mark.parametrize(
    ("table", "place"),
    [
        ({"mine": {"fragments": {"B": "{g}B"}, "spellings": ["grip"]}}, "mine.spellings"),
        ({"mine": {"fragments": {"B": "{g}B"}, "instead": ["doublin"]}}, "mine.instead"),
        ({"mine": {"fragments": {"B": 3}}}, "mine.fragments.B"),
        ({"mine": {"fragments": "B"}}, "mine.fragments"),
        ({"mine": {"fragments": {"B": "{g}B"}, "family": 3}}, "mine.family"),
        ({"grip": {"from": {"Q": {"B": "G {B}G B"}}}}, "grip.from.Q"),
        ({"birl": {"from": {"D": {"B": "G A G B"}}}}, "birl.from.D.B"),
        ({"grip": {"from": {"low G": {"B": "G {d}G B"}}}}, "grip.from.low G.B"),
        ({"grip": {}, "leumluath": {}}, "leumluath"),
        ({" ": {}}, " "),
        ({"x" * 61: {}}, "x" * 61),
        ({"plain": {"fragments": {"B": "{g}B"}}}, "plain"),
        ({"Plain ": {"fragments": {"B": "{g}B"}}}, "Plain "),
        ({"mine": {"fragments": {"B": "{g}B"}, "spellings": ["plain"]}}, "mine.spellings"),
        ({"mine": {"fragments": {"E": "B {d}e"}}}, "mine.fragments.E"),
    ],
)
def test_a_wrong_entry_is_refused_at_its_place(table: dict[str, Any], place: str) -> None:
    assert [problem.place for problem in problems_of(table)] == [f"ornament-book.{place}"]


@pytest.mark.parametrize(
    ("entry", "remedy"),
    [
        ({"spellings": "my move"}, "write a list, as ['D throw', 'light throw']"),
        ({"instead": "strike"}, "write a list of movements"),
        ({"fragments": "B"}, "write it like fragments = { B = '{g}B {d}B' }"),
        ({"from": ["B"]}, "write it like from = { D ="),
        ({"family": 3}, 'write family = "3"'),
        ({"family": ""}, "write 1 to 60 characters"),
        ({"instead": [3]}, "write a list of movements"),
    ],
)
def test_an_entry_of_the_wrong_type_is_shown_its_right_form(
    entry: dict[str, Any], remedy: str
) -> None:
    (problem,) = problems_of({"mine": {"fragments": {"B": "{g}B"}} | entry})
    assert problem.remedy.startswith(remedy)
    assert "nput should" not in problem.cause


@pytest.mark.parametrize("name", ["my move", "My-Move", "other word", "birl"])
def test_a_refused_movement_is_reported_once_and_not_by_each_line_that_plays_it(name: str) -> None:
    text = f"""
[[lines]]
run = "low A, B"
ornament = "{name}"
[[lines]]
runs = {{ span = "third" }}
ornament = "{name}"
[[lines]]
run = "low A, B"
ornament = "dubling"
[ornament-book."my move"]
spellings = ["other word"]
fragments = {{ B = "{{B}}B" }}
[ornament-book.birl]
fragments = {{ B = "G A G" }}
"""
    with pytest.raises(RungwiseError) as caught:
        realise(parse_definition(text))
    assert [problem.place for problem in caught.value.problems] == [
        "ornament-book.my move.fragments.B",
        "ornament-book.birl.fragments.B",
        "lines[3].ornament",
    ]


toml_values: st.SearchStrategy[Any] = st.recursive(
    st.none().map(lambda _: "{g}B {d}B") | st.text(max_size=6) | st.integers() | st.booleans(),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["fragments", "from", "instead", "spellings", "B", "D", "low A", "Q"]),
            inner,
            max_size=4,
        )
    ),
    max_leaves=12,
)


@given(
    st.dictionaries(st.sampled_from(["grip", "mine", "D throw"]) | st.text(max_size=5), toml_values)
)
def test_any_table_is_taken_or_refused_with_its_places(table: dict[str, Any]) -> None:
    try:
        book = BOOK.extended(table)
    except RungwiseError as error:
        assert all(problem.place.startswith("ornament-book.") for problem in error.problems)
        assert all(problem.remedy for problem in error.problems)
    else:
        assert len(book.movements) >= len(BOOK.movements)


def test_every_movement_of_several_parts_says_where_the_beat_falls_and_how_long_they_last() -> None:
    for movement in BOOK:
        if all(len(fragment) == 1 for fragment in movement.fragments.values()):
            continue
        assert "beat: " in movement.timing_source, movement.name
        assert "lengths: " in movement.timing_source, movement.name
        for natural, least in zip(movement.playing.inner, movement.playing.least, strict=True):
            assert natural.unit == least.unit == "ms"
            assert 15 <= least.value < natural.value <= 200


def test_the_melody_note_of_grips_taorluaths_and_crunluaths_is_on_the_beat() -> None:
    # Common practice, and a dispute: the README says what was chosen and how to choose otherwise.
    for name in ("grip", "taorluath", "crunluath"):
        assert BOOK.movement(name).playing.beat == "last"
    for name in ("doubling", "throw on D", "birl", "G gracenote strike"):
        assert BOOK.movement(name).playing.beat == "first"


def test_a_definition_says_how_its_movements_are_played() -> None:
    book = BOOK.extended({"grip": {"beat": "first", "inner": ["60 ms", "40 ms"], "least": "30 ms"}})
    grip = book.movement("grip").playing
    assert grip.beat == "first"
    assert [int(length.value) for length in grip.inner] == [60, 40]
    # What it does not say stays as the book has it.
    longer = BOOK.extended({"birl": {"inner": "55 ms"}}).movement("birl").playing
    assert (longer.beat, longer.least) == ("first", BOOK.movement("birl").playing.least)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("beat", "middle"),
        ("beat", 0),
        ("beat", True),
        ("beat", 17),
        ("inner", "book"),
        ("inner", ["50 ms", "1/2 beat"]),
        ("inner", "5 ms"),
        ("inner", 50),
        ("least", "1/8 beat"),
    ],
)
def test_what_is_no_way_to_play_a_movement_is_refused(key: str, value: object) -> None:
    (problem,) = problems_of({"grip": {key: value}})
    assert problem.place.startswith(f"ornament-book.grip.{key}")
    assert problem.remedy
