"""The page of a practice plan: what stands on it, in which order, on how many pages."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import date

import pypdf

from renderer.delivery.practice_page import RUNGS_A_ROW, PracticePage, day_text
from renderer.delivery.sheet.layout import Paper
from renderer.notation.ladder import parse_ladder
from renderer.reading.exercise import read_exercise
from renderer.reading.library import find_exercise
from renderer.timing.practice import PracticePlan
from tests.delivery.larkmoor import planned

FIRST = date(2026, 3, 2)


def birls() -> PracticePlan:
    return planned(read_exercise(find_exercise("birls")), 20, 14)


def text_of(page: PracticePage) -> list[str]:
    reader = pypdf.PdfReader(io.BytesIO(page.pdf()))
    return [" ".join(one.extract_text().split()) for one in reader.pages]


def test_a_page_has_the_learner_every_day_and_every_rung_of_every_line() -> None:
    plan = birls()
    (text,) = text_of(PracticePage(plan, FIRST, "Jamie Larkmoor", Paper.A4))
    assert "Practice plan: Birls" in text and "Jamie Larkmoor" in text
    assert "Mon 02 Mar 2026 to Sun 15 Mar 2026" in text
    for day in plan.days:
        shown = day_text(day)
        assert shown[:1].upper() + shown[1:] in text
    rungs, _, _ = text.partition("Days, as a proposal")
    for tempo in ("42", "50", "58", "66"):
        assert rungs.split().count(tempo) == len(plan.lines)
    headings = [plan.exercise.lines[line.number - 1].heading for line in plan.lines]
    places = [rungs.index(heading) for heading in headings]
    assert places == sorted(places), "from the easiest line to the hardest"
    assert "The days are a proposal" in text and "doctor's advice comes first" in text


def test_without_a_name_there_is_a_line_to_write_it_on() -> None:
    (text,) = text_of(PracticePage(birls(), FIRST, "", Paper.A4))
    assert "Name" in text


def test_ladders_of_many_rungs_go_on_in_a_second_row() -> None:
    exercise = read_exercise(find_exercise("birls"))
    ladder = parse_ladder("40:64:2")
    plan = planned(replace(exercise, ladder=ladder), 20, 30)
    text = " ".join(text_of(PracticePage(plan, FIRST, "", Paper.A4)))
    assert len(plan.lines[0].tempos) == 13 > RUNGS_A_ROW
    rungs, _, _ = text.partition("Days, as a proposal")
    assert all(rungs.split().count(str(tempo)) == 4 for tempo in range(40, 65, 2))


def test_a_book_takes_several_pages_and_the_same_plan_gives_the_same_bytes() -> None:
    exercise = read_exercise(find_exercise("every-doubling-from-low-g-to-f"))
    page = PracticePage(planned(exercise, 30, 14), FIRST, "", Paper.A4)
    texts = text_of(page)
    assert len(texts) > 1
    assert all(f"{number} / {len(texts)}" in text for number, text in enumerate(texts, start=1))
    assert page.pdf() == page.pdf()
    assert len(page.pngs(40)) == len(texts)
