"""The overview of a pack: one page for the teacher, who gets what at which tempos.

Laid out by Typst, as sheets are: the same pack gives the same bytes. What stands on it comes as
data; nothing a user writes becomes markup.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from functools import cache
from importlib import resources
from typing import Any

from renderer.delivery.sheet.content import CAUTION
from renderer.delivery.sheet.fonts import families, printable, unbroken
from renderer.delivery.sheet.layout import HEAD_MM, SIDE_MM, Paper
from renderer.delivery.sheet.typesetting import typeset
from renderer.order.kinds import Plain

COUNTED = (
    ("tracks", "track"),
    ("sheets", "sheet"),
    ("plans", "practice plan"),
    ("pages", "practice page"),
)
"""What is counted of what a learner gets: its key, and one of them in words."""


def _minutes(seconds: int) -> str:
    hours, rest = divmod(round(seconds / 60), 60)
    return f"{hours} h {rest:02d} min" if hours else f"{max(rest, 1)} min"


def _receiver(told: Mapping[str, Any]) -> dict[str, Any]:
    counted = [
        f"{told[key]} {word if told[key] == 1 else word + 's'}"
        for key, word in COUNTED
        if told[key]
    ]
    return {
        "name": printable(told["name"]),
        "members": printable(", ".join(told["members"])),
        "pitch": printable(told["pitch"]),
        "sound": printable(", ".join(filter(None, (told["mixes"], told["sound"])))),
        "gets": ", ".join(counted),
        "plays": _minutes(told["seconds"]) if told["tracks"] else "",
        "minutes": str(told["minutes"]) if told["plans"] else "",
        "exercises": [
            {
                "number": str(one["number"]),
                "title": unbroken(printable(one["title"])),
                "rungs": one["rungs"],
            }
            for one in told["exercises"]
        ],
    }


def _source(told: Mapping[str, Plain]) -> dict[str, bytes]:
    listed: Any = told["receivers"]
    described: Any = told["exercises"]
    width, height = Paper(str(told["paper"])).size_mm
    data = {
        "title": unbroken(printable(str(told["title"]))),
        "receivers": [_receiver(one) for one in listed],
        "exercises": [
            {
                "title": unbroken(printable(one["title"])),
                "lines": str(one["lines"]),
                "level": printable(one["level"]),
                "purpose": printable(one["purpose"]),
            }
            for one in described
        ],
        "caution": CAUTION,
        "families": families(),
        "width_mm": width,
        "height_mm": height,
        "side_mm": SIDE_MM,
        "head_mm": HEAD_MM,
    }
    text = json.dumps(data, ensure_ascii=False, sort_keys=True)
    return {"main.typ": _template(), "data.json": text.encode()}


def overview_pdf(told: Mapping[str, Plain]) -> bytes:
    """Return the overview of a pack as a tagged PDF.

    Parameters
    ----------
    told:
        As `renderer.order.packs.OverviewJob` has it.
    """
    (content,) = typeset(_source(told), "pdf", pdf_standards=["ua-1"])
    return content


def overview_pngs(told: Mapping[str, Plain], pixels_per_inch: float = 110) -> Sequence[bytes]:
    """Return each page of the overview as a PNG picture."""
    return typeset(_source(told), "png", ppi=pixels_per_inch)


@cache
def _template() -> bytes:
    return (resources.files(__package__) / "overview.typ").read_bytes()
