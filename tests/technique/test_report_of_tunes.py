"""What is said of a tune as it is written: endings, and the score's own numbers of bars."""

from __future__ import annotations

from renderer import expand, read_exercise
from renderer.notation.pitch import Note
from renderer.notation.score import Exercise
from renderer.notation.source_file import Source
from renderer.technique.report import assess, changes_of
from renderer.technique.text_tables import fingering_rows, report_fields
from renderer.timing.data import event_rows

HEADER = "X:1\nT:x\nM:4/4\nL:1/4\nQ:1/4=60\nK:HP\n"


def tune(code: str) -> Exercise:
    return read_exercise(Source("tune.abc", (HEADER + code).encode()))


def test_a_second_ending_comes_from_the_note_before_the_first() -> None:
    line = tune("|:A4|1 B4|c4:|2 d4|e4|]\n").lines[0]
    before = [change.previous for change in changes_of(line)]
    assert before == [None, Note.LOW_A, Note.B, Note.LOW_A, Note.D]


NUMBERED = "|:[I:setbarnb 17]{g}A4|{gAGAG}A2 {gcd}c2|1 {ag}a4:|2 f4|]\n"


def test_advice_fingering_and_events_name_bars_by_the_scores_own_numbers() -> None:
    exercise = tune(NUMBERED)
    (report,) = assess(exercise)
    assert {str(said).partition(":")[0] for said in report.advice} <= {
        f"Bar {number}" for number in range(17, 21)
    }
    assert {said["bar_number"] for said in report_fields(report)["advice"]} <= {"17", "18", "19"}
    places = {row[0].partition(":")[0] for row in fingering_rows(exercise.lines[0]) if row[0]}
    assert places == {"17", "18", "19", "20"}
    rows = [row for row in event_rows(expand(exercise, count_in=0)) if row["line"]]
    assert list(dict.fromkeys((row["turn"], row["bar_number"]) for row in rows)) == [
        (1, "17"),
        (1, "18"),
        (1, "19"),
        (2, "17"),
        (2, "18"),
        (1, "20"),
    ]
