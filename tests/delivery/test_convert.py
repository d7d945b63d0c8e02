"""`rungwise convert`: every form to every other, and what a form does not hold is said."""

from __future__ import annotations

from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from renderer.commands.convert import convert
from renderer.errors import RungwiseError
from renderer.notation.abc.reader import read_abc
from renderer.notation.compare import differences, music_of
from renderer.notation.musicxml.reader import read_musicxml
from renderer.notation.note_parts import parts_of
from renderer.notation.score import Exercise, MelodyNote
from renderer.reading.exercise import read_exercise
from renderer.reading.library import find_exercise
from renderer.timing.order_of_playing import played

FORMS = (".toml", ".abc", ".musicxml", ".mxl", ".mid")

DEFINITION = """
title = "Doublings and a throw"
for = "Larkmoor evening class"
meter = "3/4"
tempo = 60
[gracenotes]
length = "50 ms"
[[lines]]
heading = "In a walk"
run = "low A, B, D"
ornament = "doubling"
walk = true
[[lines]]
heading = "Written out"
abc = "{g}A2 {d}A2 B2 | {Gdc}d4 e2"
[ladder]
from = 50
to = 60
step = 5
"""


def _app() -> typer.Typer:
    app = typer.Typer(pretty_exceptions_enable=False)
    app.command()(convert)
    return app


def _run(*arguments: str | Path) -> str:
    done = CliRunner().invoke(_app(), [str(argument) for argument in arguments])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert done.exit_code == 0, done.output
    return " ".join(done.output.split())


def _assert_kept(tune: Path, target: Path) -> None:
    """Convert a tune, and find nothing lost: neither told nor measured.

    MIDI is played: it has every note of the music and no repeat sign, which is told.
    """
    said = _run(tune, target)
    written, again = read_exercise(tune), read_exercise(target)
    music = played(written).exercise
    if target.suffix in (".mid", ".midi") and music is not written:
        assert said.partition("does not hold: ")[2] == (
            "- repeats, endings, jumps and the order of parts as signs: they are played out"
        )
        assert [[music_of(bar) for bar in line.bars] for line in again.lines] == [
            [music_of(bar) for bar in line.bars] for line in music.lines
        ]
        return
    assert "does not hold" not in said
    assert differences(written, again) == []


@pytest.mark.parametrize("form", FORMS)
def test_without_repeats_each_part_is_written_once_with_its_last_ending(
    tmp_path: Path, form: str
) -> None:
    tune = tmp_path / "tune.abc"
    tune.write_text("X:1\nT:x\nM:4/4\nL:1/4\nK:HP\n|:A4|1 B4:|2 c4||\n|:d4|e4:|\n")
    target = tmp_path / f"once{form}"
    _run(tune, target, "--no-repeats")
    again = read_exercise(target)
    assert played(again).exercise is again, "no sign is left"
    bars = [bar for line in again.lines for bar in line.bars]
    notes = [i.note.abc for bar in bars for i in bar.items if isinstance(i, MelodyNote)]
    assert notes == ["A", "c", "d", "e"]


@pytest.fixture
def definition(tmp_path: Path) -> Path:
    path = tmp_path / "walk.toml"
    path.write_text(DEFINITION, encoding="utf-8")
    return path


@pytest.mark.parametrize("first", FORMS)
@pytest.mark.parametrize("second", FORMS)
def test_the_music_survives_any_two_conversions(
    definition: Path, tmp_path: Path, first: str, second: str
) -> None:
    one, other = tmp_path / f"one{first}", tmp_path / f"other{second}"
    _run(definition, one)
    _run(one, other)
    lost = differences(read_exercise(definition), read_exercise(other))
    assert [phrase for phrase in lost if phrase.startswith("line")] == []


@pytest.mark.parametrize("form", FORMS)
def test_settings_survive_in_every_form(definition: Path, tmp_path: Path, form: str) -> None:
    target = tmp_path / f"kept{form}"
    assert "does not hold" not in _run(definition, target)
    assert differences(read_exercise(definition), read_exercise(target)) == []


def test_what_abc_does_not_hold_is_listed(tmp_path: Path) -> None:
    said = _run("daily-warm-up", tmp_path / "opened.abc", "--ornaments", "open")
    assert "What .abc does not hold:" in said
    assert "which of its notes are opened movements" in said


def test_abc_that_asks_for_nothing_unusual_has_no_word_of_ours(tmp_path: Path) -> None:
    tune, target = tmp_path / "tune.abc", tmp_path / "written.abc"
    tune.write_text("X:1\nT:Tune\nC:Trad.\nM:4/4\nL:1/8\nQ:1/4=60\nK:HP\n{gBd}B4 c4|]\n")
    _run(tune, target)
    assert "rungwise" not in target.read_text("utf-8")


def test_what_other_files_say_in_our_directives_is_checked(tmp_path: Path) -> None:
    tune = tmp_path / "tune.abc"
    tune.write_text(
        "X:1\nT:Tune\nM:4/4\nL:1/8\nQ:1/4=60\n%%rungwise inner length = 9 miles\n"
        "%%rungwise gracenote length = 60 ms\n%%rungwise\nK:HP\n{gBd}B4 c4|]\n"
    )
    exercise = read_exercise(tune)
    assert exercise.gracenotes.length.value == 60
    assert "The file says inner length = '9 miles', which is left out." in exercise.remarks


@pytest.mark.parametrize("name", ["birls", "doublings-opened", "throws-on-d", "closing-doublings"])
@pytest.mark.parametrize(
    ("form", "ornaments"),
    [
        ("abc", "closed"),
        ("abc", "as written"),
        ("mid", "as written"),
        ("musicxml", "closed"),
        ("musicxml", "as written"),
        ("toml", "as written"),
    ],
)
def test_opened_movements_are_found_again(
    tmp_path: Path, name: str, form: str, ornaments: str
) -> None:
    target = tmp_path / f"opened.{form}"
    assert "does not hold" not in _run(name, target, "--ornaments", ornaments)
    lost = differences(read_exercise(find_exercise(name)), read_exercise(target))
    assert lost == []


def test_a_bar_that_lacks_half_a_beat_survives_in_a_definition(tmp_path: Path) -> None:
    tune = tmp_path / "collected.abc"
    tune.write_text("X:1\nT:Collected\nM:4/4\nL:1/4\nQ:1/4=80\nK:HP\nABcd|ABc d/|ABcd|]\n")
    _assert_kept(tune, tmp_path / "collected.toml")


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize(
    ("meter", "music"),
    [
        ("6/8", "e|ABc def|ABc d2:|"),
        ("9/8", "e|ABc def efg|ABc def e2:|"),
        ("2/2", "e2|ABcd ABcd|ABcd e2:|"),
        ("4/4", "e2|ABcd edcB|ABcd e2:|f2|ABcd edcB|A4 AB:|"),
        ("6/8", "ABc def|ABc d2|ABc|A|ABc def|AB|]"),
    ],
)
def test_pickups_of_repeats_and_short_bars_survive_in_every_form(
    tmp_path: Path, meter: str, music: str, form: str
) -> None:
    tune = tmp_path / "repeated.abc"
    tune.write_text(f"X:1\nT:Repeated\nM:{meter}\nL:1/8\nQ:1/4=60\nK:HP\n{music}\n")
    _assert_kept(tune, tmp_path / f"kept{form}")


def test_bars_of_a_repeat_with_a_pickup_add_up_in_the_abc_written(tmp_path: Path) -> None:
    tune, target = tmp_path / "jig.abc", tmp_path / "written.abc"
    tune.write_text("X:1\nT:Jig\nM:6/8\nL:1/8\nQ:3/8=60\nK:HP\n" + "e|ABc def|ABc d2:|" * 8 + "\n")
    _run(tune, target)
    written = read_exercise(target)
    assert written.remarks == ()
    assert len(written.lines) == len(read_exercise(tune).lines)


def _long_tune(path: Path, music: str) -> Path:
    path.write_text(f"X:1\nT:Long\nM:none\nL:1/4\nQ:1/4=60\nK:HP\n{music}\n")
    return path


def test_a_line_too_long_for_a_definition_becomes_several(tmp_path: Path) -> None:
    tune = _long_tune(tmp_path / "long.abc", "{gBd}A3/{e}B/cd|" * 1300 + "A2-|A2|")
    target = tmp_path / "long.toml"
    assert "1 line is read back as 2" in _run(tune, target)
    before, after = read_exercise(tune), read_exercise(target)
    assert [bar for line in after.lines for bar in line.bars] == list(before.lines[0].bars)


def test_what_could_not_be_read_again_is_not_written(tmp_path: Path) -> None:
    tune = _long_tune(tmp_path / "one-bar.abc", "{gBd}A/4{e}B/4" * 1900 + "|")
    target = tmp_path / "one-bar.toml"
    target.write_text(DEFINITION, encoding="utf-8")
    with pytest.raises(RungwiseError, match=r"could not be read again .*Write it as \.abc"):
        _run(tune, target)
    assert target.read_text(encoding="utf-8") == DEFINITION
    assert sorted(path.name for path in tmp_path.iterdir()) == ["one-bar.abc", "one-bar.toml"]


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize(
    ("meter", "music"), [("3/32", "A/4B/4c/4|d/4c/4B/4|"), ("2/2", "ABcd" * 40 + "|")]
)
def test_meters_that_no_definition_names_survive_in_every_form(
    tmp_path: Path, meter: str, music: str, form: str
) -> None:
    tune = tmp_path / "odd.abc"
    tune.write_text(f"X:1\nT:Odd\nM:{meter}\nL:1/8\nQ:1/32=320\nK:HP\n{music}\n")
    _assert_kept(tune, tmp_path / f"kept{form}")


@pytest.mark.parametrize("form", [".abc", ".musicxml", ".mxl"])
def test_notes_repeated_with_a_cut_stay_notes_in_scores(tmp_path: Path, form: str) -> None:
    """They spell an opened half doubling, and are as common in tunes."""
    tune, target = tmp_path / "reel.abc", tmp_path / f"kept{form}"
    tune.write_text(
        "X:1\nT:Reel\nM:4/4\nL:1/8\nQ:1/4=60\nK:HP\n{g}A{d}A c{d}c e{g}e f2 | A{d}A3 c{d}c3 |]\n"
    )
    assert "does not hold" not in _run(tune, target)
    kept = read_abc(target) if form == ".abc" else read_musicxml(target)
    music, written = (
        [music_of(bar) for bar in exercise.lines[0].bars] for exercise in (kept, read_abc(tune))
    )
    assert music == written


def test_movements_that_were_asked_to_be_opened_are_the_same_notes(tmp_path: Path) -> None:
    said = _run("daily-warm-up", tmp_path / "opened.musicxml", "--ornaments", "open")
    assert "line 10: which of its notes are opened movements" in said
    assert "read back differently" not in said


@pytest.mark.parametrize("form", FORMS)
def test_a_mark_of_the_tempo_that_holds_already_is_no_loss(tmp_path: Path, form: str) -> None:
    source = tmp_path / "marked.toml"
    source.write_text(
        'title = "Marked"\nmeter = "4/4"\ntempo = 70\n'
        "[[lines]]\nabc = '[Q:1/4=70]A8 | B8 | [Q:1/4=50]c8 | [Q:1/4=50]d8 |'\n"
    )
    target = tmp_path / f"kept{form}"
    assert "does not hold" not in _run(source, target)
    tempos = [bar.tempo for bar in read_exercise(target).lines[0].bars]
    assert tempos[2] == 50


@pytest.mark.parametrize("form", FORMS)
def test_a_hundred_tempos_with_decimals_survive(tmp_path: Path, form: str) -> None:
    tune = tmp_path / "tempos.abc"
    # Steps that have no pattern: multiples of the golden ratio, by their fractional parts.
    tempos = [60 + 60 * (index * 0.6180339887 % 1) for index in range(100)]
    bars = "\n".join(f"[Q:1/4={tempo:.6f}]" + "ABcd|" * 9 for tempo in tempos)
    tune.write_text(f"X:1\nT:Tempos\nM:4/4\nL:1/4\nK:HP\n{bars}\n")
    assert "does not hold" not in _run(tune, tmp_path / f"kept{form}")


def test_a_pitch_between_two_semitones_is_told_for_musicxml(
    definition: Path, tmp_path: Path
) -> None:
    said = _run(definition, tmp_path / "at.musicxml", "--pitch", "478")
    assert "43 cents above" in said


def test_the_same_conversion_gives_the_same_bytes(definition: Path, tmp_path: Path) -> None:
    for form in FORMS:
        one, other = tmp_path / f"one{form}", tmp_path / f"other{form}"
        _run(definition, one)
        _run(definition, other)
        assert one.read_bytes() == other.read_bytes()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("out.pdf",), "no form to write"),
        (("out",), "no form to write"),
        ((".",), "it is a folder"),
        (("n" * 300 + ".abc",), "the name is too long"),
        (("out.abc", "--transpose", "x"), "no transposition"),
        (("out.abc", "--gracenote-under", "1/2 beat"), "share of the beat"),
        (("out.abc", "--part", "1", "--tune", "1"), "both given"),
        (("walk.toml",), "the file that is read"),
        (("out.mid", "--tempo", "0"), "tempo"),
        (("out.musicxml", "--pitch", "9000"), "no chanter"),
    ],
)
def test_what_cannot_be_done_is_said_and_nothing_written(
    definition: Path, tmp_path: Path, arguments: tuple[str, ...], words: str
) -> None:
    before = sorted(tmp_path.iterdir())
    with pytest.raises(RungwiseError, match=words):
        _run(definition, tmp_path / arguments[0], *arguments[1:])
    assert sorted(tmp_path.iterdir()) == before
    assert definition.read_text(encoding="utf-8") == DEFINITION


def test_a_shipped_exercise_is_converted_by_its_name(tmp_path: Path) -> None:
    _run("first-gracenotes", tmp_path / "first.abc")
    again = read_exercise(tmp_path / "first.abc")
    assert again.title == read_exercise(find_exercise("first-gracenotes")).title


def _opened_movements(exercise: Exercise) -> list[bool]:
    """Whether each movement of several parts is opened out, in order."""
    return [
        parts_of(exercise, line, note).is_opened
        for line in exercise.lines
        for note in line.melody_notes
        if len(note.slots) > 1
    ]


@pytest.mark.parametrize("form", [".toml", ".mid"])
@pytest.mark.parametrize("name", ["grips-and-taorluaths", "doublings-opened", "birls"])
def test_ornaments_are_opened_and_closed_in_forms_that_play_them(
    name: str, form: str, tmp_path: Path
) -> None:
    movements = len(_opened_movements(read_exercise(name)))
    for asked in ("open", "closed"):
        target = tmp_path / f"{asked}{form}"
        said = _run(name, target, "--ornaments", asked)
        assert _opened_movements(read_exercise(target)) == [asked == "open"] * movements, said
        if form == ".toml":
            assert "does not hold" not in said


def test_a_definition_opened_out_is_printed_as_scores_open_it(tmp_path: Path) -> None:
    """Shares of the beat are those of the notes that ABC would have, where a line has one."""
    tune = tmp_path / "tune.toml"
    tune.write_text(DEFINITION, "utf-8")
    _run(tune, tmp_path / "open.toml", "--ornaments", "open")
    _run(tmp_path / "open.toml", tmp_path / "from definition.abc")
    _run(tune, tmp_path / "at once.abc", "--ornaments", "open")
    one, other = (
        [row for row in (tmp_path / name).read_text("utf-8").splitlines() if "|" in row]
        for name in ("from definition.abc", "at once.abc")
    )
    assert one == other
    assert "{g}A{d}A" in one[0]
    _run(tmp_path / "open.toml", tmp_path / "closed.toml", "--ornaments", "closed")
    closed = read_exercise(tmp_path / "closed.toml")
    assert [line.bars for line in closed.lines] == [line.bars for line in read_exercise(tune).lines]
    assert not any(_opened_movements(closed))
