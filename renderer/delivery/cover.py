"""The cover of a track, drawn by us: pitch, first bar and rung, to be told apart on a phone.

A square picture in black and white, read from a thumbnail's distance: the pitch in a dark band, the
first bar that is played, the rung as large as it goes. The bar is engraved once and kept in the
user's folder for caches; what differs from rung to rung is only written on it. Finished covers are
kept beside the bars, so that a track that is made again needs nothing that draws.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from functools import cache, lru_cache
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING, Any

from renderer import __version__
from renderer.delivery.files import part_beside
from renderer.errors import RungwiseError
from renderer.notation.score import Exercise, Line
from renderer.order.digests import digest_of
from renderer.order.names import tempos_label
from renderer.order.track_job import TrackJob
from renderer.sound.breaking_off import ask_to_go_on, breaking_off
from renderer.sound.mix_settings import Mix

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageFont import FreeTypeFont

SIDE = 800
"""Pixels: twice what phones show of a track that plays."""

_BAND = 190
_MARGIN = 44
_BAR_TOP, _BAR_HEIGHT = 215, 285
_BAR_SCALE = 3.2
"""By how much larger than on a sheet the bar is drawn, so that few notes do not stand lost."""

_INK, _PAPER = 16, 255
_GREYS = 16
_KEPT = "covers"
MOST_KEPT = 4_000
"""Bars and covers that are kept, some 8 kB each; of more, the oldest go."""

_BEGINS, _ENDS = b"\x89PNG\r\n\x1a\n", b"IEND\xaeB`\x82"
"""ISO/IEC 15948: the signature, and the last chunk with its checksum."""

_engraving = Lock()
"""One thread engraves a bar, the others wait for it instead of engraving it again."""


def _first_bar(exercise: Exercise) -> Exercise:
    """What is drawn: the first bar that has more than rests, without anything over it."""
    line = exercise.lines[0]
    bar = next((one for one in line.bars if len(one.items) > 1), line.bars[0])
    bare = replace(bar, tempo=None, words=(), number="")
    one = Line((bare,), inner=line.inner, beat=line.beat, gracenote=line.gracenote)
    return Exercise(
        "Bar", (one,), exercise.tempo, exercise.gracenotes, exercise.inner, exercise.beat
    )


def _engraved(exercise: Exercise) -> bytes:
    """A bar as PNG, black on white; raises a `RungwiseError` if it cannot be engraved."""
    # Imported when they are needed: they bring Verovio and Typst along.
    from renderer.delivery.sheet.content import content_of
    from renderer.delivery.sheet.layout import Counting, sheet_settings
    from renderer.delivery.sheet.typesetting import typeset
    from renderer.order.settings import read_settings

    plain = read_settings({"advice": "none", "marks": "none"}, verb="sheet")
    printing = replace(sheet_settings(plain), scale=_BAR_SCALE, counting=Counting.NONE)
    ask_to_go_on()
    content = content_of(exercise, printing)
    ask_to_go_on()
    staff = content.lines[0].staves[0]
    page = f"#set page(width: {SIDE - 2 * _MARGIN}pt, height: auto, margin: 0pt)\n"
    page += '#image("bar.svg", width: 100%)'
    (drawn,) = typeset({"main.typ": page.encode(), "bar.svg": staff.svg.encode()}, "png", ppi=72)
    return drawn


@cache
def _program() -> str:
    return f"{__version__} {digest_of(Path(__file__).read_bytes())}"


def _kept_file(what: str) -> Path:
    """Where a picture is kept, named after all that decides it."""
    import platformdirs

    folder = platformdirs.user_cache_path("rungwise", appauthor=False) / _KEPT
    return folder / f"{digest_of(f'{_program()} {what}'.encode())}.png"


def _read(kept: Path) -> bytes:
    """A picture from the cache; empty where it is not there, or damaged."""
    with suppress(OSError):
        there = kept.read_bytes()
        if there.startswith(_BEGINS) and there.endswith(_ENDS):
            return there
    return b""


def _keep(kept: Path, drawn: bytes) -> None:
    """Put a picture into the cache, if that is possible, and make room for it."""
    with suppress(OSError):
        kept.parent.mkdir(parents=True, exist_ok=True)
        part = part_beside(kept)
        part.write_bytes(drawn)
        part.replace(kept)
        there = list(kept.parent.iterdir())
        if len(there) > MOST_KEPT:
            there.sort(key=lambda path: path.stat().st_mtime_ns)
            for path in there[:-MOST_KEPT]:
                path.unlink(missing_ok=True)


@lru_cache(maxsize=64)
def _drawn(exercise: Exercise) -> bytes:
    """A bar as PNG, from the cache or engraved; empty where it cannot be engraved."""
    kept = _kept_file(f"bar {exercise!r}")
    if there := _read(kept):
        return there
    try:
        drawn = _engraved(exercise)
    except RungwiseError:
        # A cover is no reason for a track not to be made.
        return b""
    _keep(kept, drawn)
    return drawn


def _font(size: int) -> FreeTypeFont:
    from PIL import ImageFont

    file = Path(__file__).parent / "sheet" / "typefaces" / "NotoSans-Regular.ttf"
    return ImageFont.truetype(str(file), size)


def _fitted(draw: Any, text: str, size: int, width: int) -> FreeTypeFont:
    """A typeface so large that a text is no wider than it may be."""
    font = _font(size)
    needed = draw.textlength(text, font)
    return font if needed <= width else _font(max(24, int(size * width / needed)))


def _bar_image(drawn: bytes) -> Image | None:
    """The bar, without white around it, as large as there is room for."""
    from PIL import Image, ImageOps

    if not drawn:
        return None
    try:
        bar = Image.open(io.BytesIO(drawn)).convert("L")
    except OSError:
        return None
    box = ImageOps.invert(bar).getbbox()
    if box is None:
        return None
    bar = bar.crop(box)
    room = SIDE - 2 * _MARGIN, _BAR_HEIGHT
    share = min(room[0] / bar.width, room[1] / bar.height)
    return bar.resize((max(1, round(bar.width * share)), max(1, round(bar.height * share))))


def cover_of(job: TrackJob, go_on: Callable[[], None] = lambda: None) -> bytes:
    """Return a track's cover as PNG, `SIDE` pixels square.

    `go_on` is called before what takes long, and raises where the work is to end.
    """
    bar = _first_bar(job.exercise)
    mix = "" if job.mix is Mix.FULL else f" \u00b7 {job.mix}"
    pitch = f"{job.pitch.label}{mix}"
    number = f"line {job.exercise.number_of(0)}" if job.settings.line is not None else ""
    rung = tempos_label(job.tempos).replace(" to ", "\u2013")
    kept = _kept_file(f"cover {(pitch, number, rung)} {bar!r}")
    if there := _read(kept):
        return there
    with _engraving, breaking_off(go_on):
        ask_to_go_on()
        drawn = _drawn(bar)
    made = _picture(drawn, pitch, number, rung)
    if drawn:
        _keep(kept, made)
    return made


def _picture(drawn: bytes, pitch: str, number: str, rung: str) -> bytes:
    """A cover as PNG: the pitch in its band, the bar, a line's number if there is one, the rung."""
    from PIL import Image, ImageDraw

    image = Image.new("L", (SIDE, SIDE), _PAPER)
    draw = ImageDraw.Draw(image)
    draw.rectangle((0, 0, SIDE, _BAND), fill=_INK)
    width = SIDE - 2 * _MARGIN
    font = _fitted(draw, pitch, 150, width)
    draw.text((_MARGIN, _BAND / 2), pitch, fill=_PAPER, font=font, anchor="lm")
    if (bar := _bar_image(drawn)) is not None:
        left, top = (SIDE - bar.width) // 2, _BAR_TOP + (_BAR_HEIGHT - bar.height) // 2
        image.paste(bar, (left, top))
    small = _font(80)
    beside = max(draw.textlength(number, small), draw.textlength("bpm", small)) + 30
    font = _fitted(draw, rung, 300, int(width - beside))
    foot = SIDE - _MARGIN - 20
    draw.text((_MARGIN, foot), rung, fill=_INK, font=font, anchor="ls")
    draw.text((SIDE - _MARGIN, foot), "bpm", fill=_INK, font=small, anchor="rs")
    if number:
        draw.text((SIDE - _MARGIN, foot - 110), number, fill=_INK, font=small, anchor="rs")
    return _as_png(image)


def _as_png(image: Image) -> bytes:
    """A grey picture as PNG of 16 greys, which takes a twentieth of the time of choosing them."""
    from PIL import Image

    step = 256 // _GREYS
    indexes = image.point([value // step for value in range(256)])
    few = Image.frombytes("P", image.size, indexes.tobytes())
    few.putpalette([255 * grey // (_GREYS - 1) for grey in range(_GREYS) for _ in range(3)])
    made = io.BytesIO()
    few.save(made, "PNG", bits=4)
    return made.getvalue()
