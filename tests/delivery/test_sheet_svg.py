"""SVG pages hold paths alone, with every note by its name; one line is cropped to its music."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

from renderer.delivery.sheet.content import content_of
from renderer.delivery.sheet.layout import USUAL_SETTINGS, Form
from renderer.delivery.sheet.pages import lay_out
from renderer.reading.exercise import read_exercise
from tests.delivery.test_sheet_command import sheet

SVG = "{http://www.w3.org/2000/svg}"


def names_in(root: ElementTree.Element) -> list[str]:
    return [name for one in root.iter() if (name := one.get("id")) is not None]


def groups(root: ElementTree.Element, kind: str) -> int:
    return sum(one.get("class") == kind for one in root.iter(f"{SVG}g"))


def test_a_page_has_no_images_and_no_references_and_every_note_by_its_name() -> None:
    exercise = read_exercise("grips-and-taorluaths")
    settings = replace(USUAL_SETTINGS, form=Form.BOTH, link="https://example.org/a?b=1&c=2")
    pages = lay_out([content_of(exercise, settings)], settings)
    for page in pages.svgs():
        root = ElementTree.fromstring(page)
        tags = {one.tag.removeprefix(SVG) for one in root.iter()}
        assert not tags & {"image", "use", "symbol", "defs"}
        assert len(names_in(root)) == len(set(names_in(root)))
        # 595 by 842 points are A4.
        assert root.get("viewBox", "").split()[2:] == ["595.275590551", "841.88976378"]
    drawn = [ElementTree.fromstring(page) for page in pages.svgs()]
    notes = sum(groups(root, "note") for root in drawn)
    shown = [staff.svg for line in pages.exercises[0].lines for staff in line.staves]
    assert notes == sum(svg.count('class="note"') for svg in shown) > 0


def test_one_line_is_cropped_to_its_music(tmp_path: Path) -> None:
    path = tmp_path / "line.svg"
    assert sheet("closing-doublings", "--line", "2", "-o", path).exit_code == 0
    root = ElementTree.fromstring(path.read_bytes())
    _, _, width, height = map(float, root.get("viewBox", "").split())
    assert 400 < width < 595
    assert height < 120
    line = read_exercise("closing-doublings").lines[1]
    assert groups(root, "bar") == len(line.bars)
    assert groups(root, "drawing") == 1
    # Nothing of the page is left: only the drawing, and the texts that stand in it.
    staff_lines = re.findall(rb'stroke-width="15"', path.read_bytes())
    assert len(staff_lines) >= 5
    assert root.find(f"{SVG}path") is None


def test_the_same_line_gives_the_same_bytes(tmp_path: Path) -> None:
    files = [tmp_path / name for name in ("one.svg", "two.svg")]
    for path in files:
        assert sheet("closing-doublings", "--line", "2", "-o", path).exit_code == 0
    assert files[0].read_bytes() == files[1].read_bytes()
