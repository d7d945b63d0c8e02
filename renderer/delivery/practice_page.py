"""A practice plan as a page: the days with what they propose, and each line's rungs to sign off.

Laid out by Typst, as sheets are: PDF, SVG or PNG, the same plan to the same bytes. What stands on
it comes as data; nothing a user writes becomes markup.
"""

from __future__ import annotations

import datetime
import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from renderer.delivery.sheet.content import CAUTION
from renderer.delivery.sheet.fonts import families, printable, unbroken
from renderer.delivery.sheet.layout import HEAD_MM, SIDE_MM, Paper
from renderer.delivery.sheet.typesetting import typeset
from renderer.timing.fit import spoken_tempo
from renderer.timing.practice import Block, Day, PlannedLine, PracticePlan

RUNGS_A_ROW = 10
"""How many boxes for rungs stand beside each other."""

RULE = (
    "Tick a rung, with the date and the teacher's initials, once the line was clean every time "
    "that it was played; only then go on to the next rung. Not clean: stay, or step back one. The "
    "days are a proposal, the rungs are what counts."
)


def day_text(day: Day) -> str:
    """A day in words: `lines 3, 5 at 50; line 4 at 60 and back to 50; rest; ...`."""
    # Lines and how they are played; neighbours that are played alike are named together.
    parts: list[tuple[list[str], str]] = []
    for item in day.items:
        if not isinstance(item, Block):
            parts.append(([], "rest"))
        elif item.is_step_back:
            lines, how = parts.pop()
            alone = ([lines[-1]], f"{how} and back to {spoken_tempo(item.tempo)}")
            parts += [(lines[:-1], how), alone] if lines[:-1] else [alone]
            if len(parts) > 1 and parts[-2][1] == alone[1]:
                parts[-2:] = [(parts[-2][0] + alone[0], alone[1])]
        elif parts and parts[-1][1] == (how := f"at {spoken_tempo(item.tempo)}"):
            parts[-1][0].append(str(item.line))
        else:
            parts.append(([str(item.line)], f"at {spoken_tempo(item.tempo)}"))
    return "; ".join(
        f"{'line' if len(lines) == 1 else 'lines'} {', '.join(lines)} {how}" if lines else how
        for lines, how in parts
    )


def playings_text(plan: PracticePlan) -> str:
    """How lines are played in a plan, in a sentence."""
    times = {item.repeats for day in plan.days for item in day.items if isinstance(item, Block)}
    counts = " or ".join(map(str, sorted(times)))
    return f"A line is played {counts} times at each tempo, {plan.led_in}."


def date_of(day: Day, first: datetime.date) -> datetime.date:
    """The date of a day of a plan that begins on `first`."""
    return first + datetime.timedelta(days=day.number - 1)


@dataclass(frozen=True, slots=True)
class PracticePage:
    """A plan ready to be written as pages.

    Parameters
    ----------
    plan:
        The plan.
    first:
        Its first day.
    learner:
        The name at its head; empty for a line to write it on.
    paper:
        What it is printed on.
    """

    plan: PracticePlan
    first: datetime.date
    learner: str
    paper: Paper

    def _data(self) -> dict[str, Any]:
        plan, exercise = self.plan, self.plan.exercise
        width, height = self.paper.size_mm
        last = date_of(plan.days[-1], self.first)
        title = unbroken(printable(exercise.title))
        return {
            "title": title,
            "learner": printable(self.learner),
            "audience": printable(exercise.audience),
            "span": f"{self.first:%a %d %b %Y} to {last:%a %d %b %Y}",
            "rule": RULE,
            "playings": playings_text(plan),
            "remarks": [printable(remark) for remark in (*plan.remarks, *plan.tracks)],
            "days": [self._day_fields(day) for day in plan.days],
            "lines": [self._line_fields(line) for line in plan.lines],
            "rungs_a_row": min(RUNGS_A_ROW, max(len(line.tempos) for line in plan.lines)),
            "caution": CAUTION,
            "families": families(),
            "width_mm": width,
            "height_mm": height,
            "side_mm": SIDE_MM,
            "head_mm": HEAD_MM,
        }

    def _day_fields(self, day: Day) -> dict[str, str]:
        text = day_text(day)
        return {
            "number": str(day.number),
            "date": f"{date_of(day, self.first):%a %d %b}",
            "minutes": f"{float(day.seconds) / 60:.0f}",
            "text": text[:1].upper() + text[1:] if text else "No practice",
        }

    def _line_fields(self, line: PlannedLine) -> dict[str, Any]:
        return {
            "number": str(line.number),
            "heading": printable(self.plan.exercise.lines[line.number - 1].heading),
            "rungs": [spoken_tempo(tempo) for tempo in line.tempos],
        }

    def _source(self) -> dict[str, bytes]:
        data = json.dumps(self._data(), ensure_ascii=False, sort_keys=True)
        return {"main.typ": _template(), "data.json": data.encode()}

    def pdf(self) -> bytes:
        """Return the pages as a tagged PDF."""
        (content,) = typeset(self._source(), "pdf", pdf_standards=["ua-1"])
        return content

    def svgs(self) -> Sequence[bytes]:
        """Return each page as an SVG drawing."""
        return typeset(self._source(), "svg")

    def pngs(self, pixels_per_inch: float = 150) -> Sequence[bytes]:
        """Return each page as a PNG picture."""
        return typeset(self._source(), "png", ppi=pixels_per_inch)


@cache
def _template() -> bytes:
    return (resources.files(__package__) / "practice_page.typ").read_bytes()
