"""The order in which teachers bring movements and exercises, and whether difficulty keeps to it.

Source of the order: the requirements published for the certificates of piping of the Piping and
Drumming Qualifications Board and the Scottish Qualifications Authority. SCQF level 2 asks for the
scale, the scale with G, D and E gracenotes, G-D-E groups, all strikes, thumb gracenotes, the throw
on D from low A and doublings from low A. SCQF level 4 adds grips, birls (plain and with a G
gracenote), taorluaths to low A, tachums, and the doublings and throws from every note. Crunluaths
come only with the piobaireachd of level 5 and above.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from statistics import median

import pytest

from renderer.notation.definition.reader import parse_definition
from renderer.notation.score import Exercise
from renderer.reading.exercise import read_exercise
from renderer.reading.library import shipped_exercises
from renderer.technique.difficulty import movement_points
from renderer.technique.ornaments import load_book
from renderer.technique.realise import realise
from renderer.technique.report import exercise_difficulty, line_difficulty


def played(run: str, ornament: str = "plain", on: str = "every", **keys: str) -> float:
    """The difficulty of a line in crotchets at 60, closed unless `inner` says otherwise."""
    settings = "".join(f'{key} = "{value}"\n' for key, value in keys.items())
    movement = "" if ornament == "plain" else f'ornament = "{ornament}"\non = "{on}"\n'
    return exercise_difficulty(
        realise(parse_definition(f'tempo = 60\n[[lines]]\nrun = "{run}"\n{movement}{settings}'))
    )


# From each step to the next, every line is harder than every line before.
STEPS: list[dict[str, float]] = [
    {"the scale": played("low G to high A")},
    {
        "the scale with G gracenotes": played("low A to F", "G gracenote"),
        "the scale with D gracenotes": played("low G to C", "D gracenote"),
        "the scale with E gracenotes": played("low G to D", "E gracenote"),
    },
    {
        "G-D-E groups": played("low A, B, low A, B", "G-D-E gracenotes"),
        "strikes": played("low A, B, C, D, E, F", "strike"),
    },
    {
        "the throw on D from low A": played("low A, D, low A, D", "throw on D", "D"),
        **{
            f"the doubling on {note} from low A": played(f"low A, {note}", "doubling", note)
            for note in ("B", "C", "D", "E", "F", "high G", "high A")
        },
    },
    {
        "grips": played("low A, B, low A, C", "grip", "B, C"),
        "birls": played("B, low A, C, low A", "birl", "low A"),
        "birls with a G gracenote": played(
            "B, low A, C, low A", "birl with a G gracenote", "low A"
        ),
        "taorluaths to low A": played("B, low A, C, low A", "taorluath", "low A"),
    },
    {"crunluaths": played("low A, E, low A, E", "crunluath", "E")},
]


@pytest.mark.parametrize(("easier", "harder"), list(pairwise(STEPS)))
def test_movements_are_as_hard_as_the_certificates_bring_them(
    easier: dict[str, float], harder: dict[str, float]
) -> None:
    for before, points in easier.items():
        for after, more in harder.items():
            assert points < more, (before, after)


def test_doublings_from_every_note_are_harder_than_from_low_a() -> None:
    # Source: SCQF level 4 against level 2.
    from_low_a = played("low A, C, low A, D", "doubling", "C, D")
    from_all = played("F, C, high G, D", "doubling", "C, D")
    assert from_all > from_low_a


def test_a_crunluath_now_and_then_is_harder_than_plain_notes_however_they_cross() -> None:
    # Judgement: the worst crossings there are, at the usual tempo of a march, 70.
    crossing = realise(parse_definition('tempo = 70\n[[lines]]\nrun = "F, D, high G, C, F, D"\n'))
    now_and_then = realise(
        parse_definition(
            'tempo = 60\nmeter = "4/4"\n[[lines]]\nrun = "low A | low A, E"\n'
            'ornament = "crunluath"\non = "last"\n'
        )
    )
    assert exercise_difficulty(now_and_then) > exercise_difficulty(crossing)


def test_a_movement_is_easier_opened_out_and_a_line_is_harder_faster() -> None:
    # Common practice: movements are taught opened out first, and slowly.
    opened = played("low A, B, low A, B", "doubling", inner="1/2 beat")
    closed = played("low A, B, low A, B", "doubling", inner="100 ms")
    assert opened < closed
    (line,) = realise(parse_definition('[[lines]]\nrun = "low A, C, E"\n')).lines
    tempos = [line_difficulty(line, tempo=Fraction(tempo)) for tempo in (40, 60, 90)]
    assert tempos == sorted(tempos) and len(set(tempos)) == 3


def test_every_movement_of_the_book_has_its_points() -> None:
    assert [one.name for one in load_book() if movement_points(one) is None] == []


def by_folder() -> dict[str, list[tuple[float, str]]]:
    """Difficulty and name of the shipped exercises, by the number of their level's folder."""
    folders: dict[str, list[tuple[float, str]]] = {}
    for shipped in shipped_exercises():
        number = shipped.path.parent.name[0]
        if number in "1234":
            exercise: Exercise = read_exercise(shipped.path)
            folders.setdefault(number, []).append((exercise_difficulty(exercise), shipped.name))
    return folders


IN_ORDER = 0.8
"""Of all pairs of exercises from neighbouring levels, the share that comes out in order at least.
Levels are a teacher's judgement of more than fingers: rhythm, length, what is new."""


def test_shipped_exercises_sort_as_their_levels_do() -> None:
    folders = by_folder()
    assert list(folders) == sorted(folders)
    middles = [median(points for points, _ in folders[number]) for number in folders]
    assert middles == sorted(middles) and len(set(middles)) == 4, middles
    pairs = [
        (before, after)
        for low, high in pairwise(sorted(folders))
        for before in folders[low]
        for after in folders[high]
    ]
    wrong = [f"{b[1]} ({b[0]:.1f}) and {a[1]} ({a[0]:.1f})" for b, a in pairs if b[0] >= a[0]]
    assert len(wrong) <= (1 - IN_ORDER) * len(pairs), wrong
