"""What people who are new to the program write is understood, or answered with what is right.

Each of these stranded somebody once.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from renderer.commands.app import app
from renderer.errors import Problem, RungwiseError
from renderer.notation.definition.lines import PatternLine
from renderer.notation.definition.pattern import Runs
from renderer.notation.definition.reader import parse_definition
from renderer.notation.source_file import Source
from renderer.reading.exercise import read_exercise
from tests.limits import HANG_S

RUN = '[[lines]]\nrun = "low A, B, D"\nornament = "doubling"\n'


def rungwise(*words: str | Path) -> Result:
    return CliRunner().invoke(app, [*map(str, words)])


def problems_of(text: str) -> tuple[Problem, ...]:
    with pytest.raises(RungwiseError) as caught:
        parse_definition(text)
    return caught.value.problems


def problem_of(text: str) -> Problem:
    (problem,) = problems_of(text)
    return problem


@pytest.mark.parametrize("form", ["utf-8", "utf-8-sig", "utf-16"])
@pytest.mark.parametrize("name", ["wide.txt", "wide.toml.txt", "WIDE.TXT"])
def test_a_definition_is_read_as_a_simple_editor_saves_it(
    name: str, form: str, tmp_path: Path
) -> None:
    (tmp_path / name).write_bytes(RUN.replace("\n", "\r\n").encode(form))
    exercise = read_exercise(tmp_path / name)
    assert exercise.title.casefold() == "wide"
    assert len(list(exercise.lines[0].melody_notes)) == 3


@pytest.mark.parametrize("form", ["utf-8", "utf-16"])
def test_a_text_file_with_a_tune_in_abc_is_read_as_abc(form: str, tmp_path: Path) -> None:
    (tmp_path / "tune.txt").write_bytes("X:1\nT:Two notes\nM:2/4\nK:HP\nA4 B4 |]\n".encode(form))
    assert read_exercise(tmp_path / "tune.txt").title == "Two notes"


def test_a_file_of_a_word_processor_is_to_be_saved_as_plain_text(tmp_path: Path) -> None:
    (tmp_path / "wide.docx").write_bytes(b"PK")
    with pytest.raises(RungwiseError, match=r"Save it as plain text \(Save as\), .*wide.txt"):
        read_exercise(tmp_path / "wide.docx")


@pytest.mark.parametrize(
    ("written", "remedy"),
    [
        ("hg", "write high G"),
        ("Hi A", "write high A"),
        ("LA", "write low A"),
        ("F#", "write F"),
        ("c sharp", "write C"),
        ("low B", "write B"),
        ("low A B D", "write low A, B, D"),
        ("low A - B - D", "write low A, B, D"),
        ("A", "write low A or high A"),
    ],
)
def test_a_note_by_another_name_is_answered_with_its_right_one(written: str, remedy: str) -> None:
    assert problem_of(f'[[lines]]\nrun = "B, {written}"').remedy == remedy


def test_the_nine_notes_are_listed_once_however_many_names_are_wrong() -> None:
    problem = problem_of('[[lines]]\nrun = "H, I, hg, J, K to L, F#, M"')
    said = f"{problem.cause}. {problem.remedy}"
    assert said.count("low G, low A, B, C") == 1
    for name in ("'H', 'I', 'J'", "write high G", "write F;"):
        assert name in said


@pytest.mark.parametrize("written", ["60 bpm", "60bpm", "60 beats", "60", " 60 BPM "])
def test_a_tempo_with_its_unit_is_answered_with_the_number(written: str) -> None:
    problem = problem_of(f'tempo = "{written}"\n{RUN}')
    assert problem.remedy == "write the number alone, without quotes: 60"
    if "b" in written.casefold():
        result = rungwise("check", "birls", "--tempo", written)
        assert isinstance(result.exception, RungwiseError)
        assert "number alone, as 60" in str(result.exception)


def test_a_meter_with_blanks_round_it_is_understood() -> None:
    assert str(parse_definition(f'meter = " 3/4 "\n{RUN}').meter) == "3/4"


def test_spans_from_one_interval_to_another_are_all_between() -> None:
    def spans(written: str) -> tuple[int, ...]:
        (line,) = parse_definition(f"[[lines]]\nruns = {{ span = {written} }}").lines
        assert isinstance(line, PatternLine)
        assert isinstance(line.pattern, Runs)
        return line.pattern.spans

    assert spans('"third to seventh"') == (2, 3, 4, 5, 6)
    assert spans('"fifth to fourth"') == (3, 4)
    assert spans('["third", "fifth to sixth"]') == (2, 4, 5)
    assert problem_of('[[lines]]\nruns = { span = "third to tenth" }').cause == (
        "'tenth' is no interval"
    )


def places_of(text: str) -> list[str]:
    """The places of all that is said to be wrong in a definition in one go."""
    with pytest.raises(RungwiseError) as caught:
        read_exercise(Source("wide.toml", text.encode()))
    assert {problem.file for problem in caught.value.problems} == {"wide.toml"}
    return [problem.place for problem in caught.value.problems]


def test_wrong_movements_and_wrong_abc_are_said_in_one_go_with_wrong_keys() -> None:
    text = """
tempo = "60 bpm"
[[lines]]
run = "low A, B"
ornment = "grip"
ornament = "dobbling"
[[lines]]
abc = "A2 {g}q2"
headng = "Written out"
[[lines]]
run = "low A, hg"
ornament = ["grip", "plain", "grup"]
[[lines]]
run = "low A, B"
ornament = "throw on D"
"""
    assert places_of(text) == [
        "tempo",
        "lines[1].ornment",
        "lines[1].ornament",
        "lines[2].headng",
        "lines[2].abc: bar 1, character 8",
        "lines[3].run",
        "lines[3].ornament",
        "lines[4].ornament",
    ]


@pytest.mark.parametrize(
    "text",
    [
        # The movement may be meant by what cannot be read.
        '[ornamentbook.twirl.fragments]\nB = "{g}B"\n' + RUN.replace("doubling", "twirl"),
        "ornament-book = 3\n" + RUN.replace("doubling", "twirl"),
        # It is D that the throw was to go on.
        '[[lines]]\nrun = "B, D"\nornament = "throw on D"\nonn = "D"',
        '[[lines]]\nrun = "B, D"\nornament = "throw on D"\non = "DD"',
        # Whole bars of rest, and lengths that the meter alone tells.
        'meter = "3-4"\n[[lines]]\nabc = "Z A4 | B2"',
        'meter = "3-4"\n[[lines]]\nrun = "B, C"\nnotes-per-beat = 3',
        "lines = 3",
        '[[lines]]\nabc = ["A2"]',
        "lines = [1, 2]",
    ],
)
def test_nothing_is_called_wrong_for_want_of_what_could_not_be_read(text: str) -> None:
    with pytest.raises(RungwiseError) as caught:
        parse_definition(text)
    assert places_of(text) == [problem.place for problem in caught.value.problems]


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ('[[lines]]\nruns = { span = "fourth"\nornament = "grip"', "line 2, column 8"),
        ('[[lines]]\nruns = { span = "fourth",\n}', "line 2, column 8"),
        ('[[lines]]\nrun = "B"\nornament = ["grip", "birl"\n' + RUN, "line 3, column 12"),
        ('[[lines]]\nruns = { span = ["third" }', "line 2, column 17"),
    ],
)
def test_what_is_opened_and_not_closed_is_named_where_it_opens(text: str, place: str) -> None:
    problem = problem_of(text)
    assert "that opens here is not closed" in problem.cause
    assert problem.place == place


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--pitch", "A, B flat"), '--pitch twice: --pitch A --pitch "B flat"'),
        (("--pitch", "A and 478 Hz"), '--pitch twice: --pitch A --pitch "478 Hz"'),
        (("--mix", "full,echo,backing"), "--mix 3 times: --mix full --mix echo --mix backing"),
        (("--format", "mp3 wav"), "--format twice: --format mp3 --format wav"),
    ],
)
def test_several_values_in_one_option_are_shown_given_one_by_one(
    words: tuple[str, ...], says: str, tmp_path: Path
) -> None:
    result = rungwise("render", "birls", "-o", tmp_path / "out", *words)
    assert isinstance(result.exception, RungwiseError)
    assert f"Give {says}." in str(result.exception)


@pytest.mark.parametrize(
    "words",
    [
        ("sheet", "birls", "-o", "new/er/birls.svg"),
        ("convert", "birls", "new/er/birls.abc"),
        ("plan", "birls", "--days", "2", "-o", "new/er/birls.csv"),
        ("events", "birls", "-o", "new/er/birls.csv"),
        ("expand", "birls", "-o", "new/er/birls.toml"),
        ("coverage", "birls", "-o", "new/er/birls.svg"),
    ],
    ids=lambda words: words[0],
)
def test_every_verb_makes_the_folder_that_it_writes_into(
    words: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = rungwise(*words)
    assert result.exit_code == 0, result.exception
    made = {path.stem.split("-")[0] for path in (tmp_path / "new" / "er").iterdir()}
    assert made == {"birls", "manifest"}


def test_keys_in_capitals_are_answered_with_small_letters_and_not_missed_besides() -> None:
    text = 'Tempo = 60\n[[Lines]]\nRun = "low A, B"\n'
    assert [(one.place, one.remedy) for one in problems_of(text)] == [
        ("Tempo", "write tempo, in small letters"),
        ("Lines", "write lines, in small letters"),
    ]
    assert "write run, in small letters" in {
        one.remedy for one in problems_of('[[lines]]\nRun = "low A, B"\n')
    }


@pytest.mark.parametrize("written", ["60-80", '"60 to 80"', '"50:80"', '"50, 60"'])
def test_several_tempos_are_answered_with_the_ladder(written: str) -> None:
    assert "[ladder]" in problem_of(f"tempo = {written}\n{RUN}").remedy


def test_a_movement_with_the_note_that_it_goes_on_is_answered_with_both_keys() -> None:
    with pytest.raises(RungwiseError, match=r"as 'doubling'; .* on = 'D' says where it goes"):
        read_exercise(Source("wide.toml", RUN.replace("doubling", "doubling on D").encode()))


def test_a_heading_that_ends_in_quotes_is_shown_whole() -> None:
    problem = problem_of('[[lines]]\nheading = Doublings on "D"\nrun = "B"\n')
    assert problem.remedy == "write it as \"Doublings on 'D'\""


def test_one_hyphen_before_a_word_is_named(tmp_path: Path) -> None:
    run = subprocess.run(
        [sys.executable, "-m", "renderer", "render", "birls", "-out", "tracks"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parent.parent)},
        capture_output=True,
        text=True,
        check=False,
        timeout=HANG_S,
    )
    assert run.returncode == 2
    assert run.stderr == "-out: one hyphen goes with one letter. Write -o or --output.\n"
    assert list(tmp_path.iterdir()) == []


def test_notes_without_a_key_are_shown_in_their_place() -> None:
    problem = problem_of("low A, B, C, D\n")
    assert problem.remedy == 'write [[lines]], and in the line below it run = "low A, B, C, D"'


def test_a_value_behind_a_switch_is_answered_with_how_switches_are_written(tmp_path: Path) -> None:
    result = rungwise("render", "birls", "-o", tmp_path / "out", "--metronome", "off")
    assert isinstance(result.exception, RungwiseError)
    assert "takes no value" in str(result.exception)
    assert "--no-drone" in str(result.exception)
