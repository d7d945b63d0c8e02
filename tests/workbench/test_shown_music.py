"""What the page shows and plays: the same staves, moments and problems as everywhere else."""

from __future__ import annotations

from renderer.delivery.page.contents import line_music
from renderer.delivery.page.staves import Glyphs, staves_of
from renderer.notation.pitch import Note
from renderer.order.settings import read_settings
from renderer.reading.exercise import read_exercise, source_of
from renderer.workbench.shown_music import ShownMusic
from renderer.workbench.vocabulary import vocabulary
from tests.workbench.benches import WIDE


def test_a_line_by_itself_looks_and_plays_as_in_the_whole() -> None:
    for name in ("doublings-over-a-wide-step", "grips-and-taorluaths", "daily-warm-up"):
        exercise = read_exercise(name)
        music = ShownMusic()
        read = music.read(f"{name}.toml", source_of(name).data)
        bodies = music.bodies([line["key"] for line in read["lines"]])
        whole = staves_of(exercise, Glyphs())
        settings = read_settings({})
        for index, line in enumerate(read["lines"]):
            body = bodies[line["key"]]
            assert body["staves"] == whole[index], (name, index)
            assert body["music"] == line_music(exercise, index + 1, settings)


def test_only_the_line_that_changes_is_made_anew() -> None:
    music = ShownMusic()
    keys = [line["key"] for line in music.read("a.toml", WIDE.encode())["lines"]]
    again = [line["key"] for line in music.read("b.toml", WIDE.encode())["lines"]]
    assert keys == again
    titled = music.read("a.toml", WIDE.replace("Doublings", "Wide doublings").encode())
    assert keys == [line["key"] for line in titled["lines"]]
    other = music.read(
        "a.toml", WIDE.replace('"The same, closed"\nrun = "low A', '""\nrun = "C').encode()
    )
    changed = [a != b["key"] for a, b in zip(keys, other["lines"], strict=True)]
    assert changed == [False, True, False]


def test_each_line_knows_the_entry_that_it_comes_from() -> None:
    text = """
[[lines]]
run = "low A, B"
[[lines]]
runs = { span = "third", direction = "rising", limit = 3 }
[[lines]]
scale = { step = "third" }
"""
    read = ShownMusic().read("a.toml", text.encode())
    assert [line["entry"] for line in read["lines"]] == [0, 1, 1, 1, 2]


def test_every_problem_has_its_place_in_the_text() -> None:
    text = (
        'tempo = "60"\n[[lines]]\nrun = "low A, F#"\n[[lines]]\nrun = "B"\nornament = "doublin"\n'
    )
    problems = ShownMusic().read("a.toml", text.encode())["problems"]
    assert [text[one["start"] : one["end"]] for one in problems] == [
        '"60"',
        '"low A, F#"',
        '"doublin"',
    ]
    assert [one["row"] for one in problems] == [1, 3, 6]
    assert all(one["remedy"] for one in problems)


def test_the_sound_has_every_gracenote_before_every_note() -> None:
    sound = ShownMusic().sound(["A", "478"], "practice")
    assert [row["label"] for row in sound["pitches"]] == ["A", "478 Hz"]
    table = sound["gracenotes"]
    for before in range(10):
        for gracenote in Note:
            for note in Note:
                assert (table[before][gracenote][note] is None) == (gracenote is note)


def test_the_vocabulary_holds_what_a_definition_can() -> None:
    words = vocabulary()
    assert words["notes"][0] == "low G" and len(words["notes"]) == 9
    assert {"title", "tempo", "lines"} <= set(words["keys"][""])
    assert {"run", "abc", "ornament"} <= set(words["keys"]["lines"])
    doubling = next(one for one in words["movements"] if one["name"] == "doubling")
    assert doubling["on"]["B"] == "{g}B {d}B"
