"""File names are safe on every file system and sort in practice order."""

from __future__ import annotations

import unicodedata
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from renderer.order.names import (
    LONGEST_NAME,
    Series,
    climb_label,
    collision_key,
    distinct,
    rung_labels,
    safe_stem,
    tempo_label,
    track_names,
)


@pytest.mark.parametrize(
    ("title", "stem"),
    [
        ("Doublings over a wide step", "Doublings over a wide step"),
        ("Low A/D: \"up\" and 'down'", "Low A-D- 'up' and 'down'"),
        ("..\\up", "up"),
        ("../../etc/passwd", "etc-passwd"),
        ("What? <All> of * it|", "What (All) of it"),
        ("Ends in dots...  ", "Ends in dots"),
        (".hidden", "hidden"),
        ("-rf", "rf"),
        ("#EXTM3U", "EXTM3U"),
        ("Tab\tand\nnewline\x00\x1b", "Tab and newline"),
        ("CON", "Exercise CON"),
        ("nul.txt", "Exercise nul.txt"),
        ("COM¹", "Exercise COM¹"),
        ("Consistent grips", "Consistent grips"),
        ("", "Exercise"),
        ("...", "Exercise"),
        ("Càrn Dùbh", "Càrn Dùbh"),
        ("Birls 🎵", "Birls 🎵"),
        ("right\u202eot-left\u200b", "rightot-left"),
    ],
)
def test_a_title_becomes_a_safe_name(title: str, stem: str) -> None:
    assert safe_stem(title) == stem


def test_accents_are_stored_composed_however_they_were_typed() -> None:
    assert safe_stem(unicodedata.normalize("NFD", "Càrn Dùbh")) == "Càrn Dùbh"


def test_a_long_title_is_cut_at_a_word() -> None:
    stem = safe_stem("Doublings and grips " * 15)
    assert len(stem.encode()) <= 90
    assert stem.split()[-1] in ("Doublings", "and", "grips")


def test_a_long_title_is_not_cut_between_a_letter_and_its_accents() -> None:
    accented = "x\u0331\u0332"
    for length in range(16, 40):
        stem = safe_stem(accented * 20, most_bytes=length)
        assert stem == accented * (len(stem) // 3)


@given(st.text(max_size=400), st.integers(16, 140))
def test_every_title_gives_a_name_that_every_file_system_takes(title: str, most: int) -> None:
    stem = safe_stem(title, most_bytes=most)
    assert stem
    assert len(stem.encode()) <= most or stem.startswith("Exercise ")
    assert len(stem.encode()) <= most + len("Exercise ")
    assert not set(stem) & set('<>:"/\\|?*')
    assert all(unicodedata.category(c) not in ("Cc", "Cf", "Cs") for c in stem)
    assert stem[0] not in " .-#~_"
    assert stem[-1] not in " ."
    assert stem == unicodedata.normalize("NFC", stem)
    assert safe_stem(stem, most_bytes=most + 20) == stem


@given(title=st.text(min_size=1, max_size=60))
def test_every_title_gives_a_file_that_can_be_written_and_found_again(
    title: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.getbasetemp() / "titles"
    folder.mkdir(exist_ok=True)
    path = folder / f"{safe_stem(title)}.mp3"
    path.write_bytes(b"")
    assert path.name in {found.name for found in folder.iterdir()}
    path.unlink()


def test_exercises_with_the_same_title_get_names_of_their_own() -> None:
    assert distinct(["Grips", "Birls", "grips", "GRIPS"]) == (
        "Grips",
        "Birls",
        "grips (2)",
        "GRIPS (3)",
    )
    assert distinct(["Grips", "Grips (2)", "Grips"]) == ("Grips", "Grips (2)", "Grips (3)")
    composed, decomposed = "Càrn", unicodedata.normalize("NFD", "Càrn")
    assert len({collision_key(name) for name in distinct([composed, decomposed])}) == 2


@given(st.lists(st.sampled_from(["a", "A", "a (2)", "b", "A (2)", "ß", "SS"]), max_size=12))
def test_distinct_names_are_distinct_whatever_they_were(stems: list[str]) -> None:
    names = distinct(stems)
    assert len({collision_key(name) for name in names}) == len(stems)
    assert all(name.startswith(stem) for name, stem in zip(names, stems, strict=True))


def test_a_rising_ladder_sorts_by_its_tempos() -> None:
    tempos = [Fraction(t) for t in (50, 60, Fraction(125, 2), 100, 120)]
    names = track_names(Series("Grips", "B flat", "full"), rung_labels(tempos))
    assert names[0] == "Grips - B flat - full - 050 bpm"
    assert names[2] == "Grips - B flat - full - 062.5 bpm"
    assert list(names) == sorted(names)


def test_a_falling_or_winding_ladder_is_numbered_by_rung() -> None:
    tempos = [Fraction(t) for t in (80, 60, 50, 60, 80)]
    names = track_names(Series("Grips", "A", "full"), rung_labels(tempos))
    assert names[0] == "Grips - A - full - rung 1 - 080 bpm"
    assert len(set(names)) == 5
    assert list(names) == sorted(names)


@given(st.lists(st.fractions(10, 400, max_denominator=1000), min_size=1, max_size=100))
@example([Fraction(10)] * 99 + [Fraction(10) + Fraction(1, 2**12)])  # all of twelve decimals
def test_names_of_every_ladder_sort_in_practice_order(tempos: list[Fraction]) -> None:
    series = Series(safe_stem("🎵" * 300), "466.16 Hz", "backing")
    names = track_names(series, rung_labels(tempos))
    assert list(names) == sorted(names)
    assert len({collision_key(name) for name in names}) == len(tempos)
    assert all(len(f"{name}.flac".encode()) <= LONGEST_NAME for name in names)


def test_a_tempo_is_written_without_idle_decimals() -> None:
    assert [tempo_label(Fraction(t)) for t in ("60", "62.5", "66.667")] == ["60", "62.5", "66.67"]
    series = Series("Scale", "A", "full")
    tempos = [Fraction("33.3333"), Fraction(100, 3), Fraction(60)]
    assert track_names(series, rung_labels(tempos)) == (
        "Scale - A - full - 033.3333 bpm",
        "Scale - A - full - 033.333333 bpm",
        "Scale - A - full - 060 bpm",
    )


def test_a_name_never_leaves_its_folder() -> None:
    for title in ("../up", "/root", "C:\\x", "a/../../b", "~root"):
        assert Path(safe_stem(title)).name == safe_stem(title)


@given(st.lists(st.fractions(10, 400, max_denominator=100), min_size=2, max_size=40))
def test_tracks_that_climb_other_rungs_have_other_names(tempos: list[Fraction]) -> None:
    others = [*tempos[:-1], tempos[-1] + 1]
    assert climb_label(tempos) != climb_label(others)
    series = Series(safe_stem("🎵" * 300), "466.16 Hz", "backing")
    (name,) = track_names(series, [climb_label(tempos)])
    assert len(f"{name}.flac".encode()) <= 255


def test_a_climb_is_named_by_its_rungs() -> None:
    def label(*tempos: int) -> str:
        return climb_label([Fraction(tempo) for tempo in tempos])

    assert label(*range(50, 90, 2)) == "climb 050 to 088 by 2 bpm"
    assert label(80, 70, 60) == "climb 080 to 060 by 10 bpm"
    assert label(50, 52, 60) == "climb 050, 052, 060 bpm"
    assert label(50) == "climb 050 bpm"
