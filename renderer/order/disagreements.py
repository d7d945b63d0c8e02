"""What is wrong with settings that are right each by itself."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from renderer.errors import Problem, RungwiseError
from renderer.order.formats import AudioFormat, check_rate, rate_in
from renderer.order.web_addresses import EXERCISE_FIELD, LINE_FIELD, LONGEST_LINE_LINK
from renderer.sound.mix_settings import Layout
from renderer.sound.tuning import scale_named

if TYPE_CHECKING:
    from renderer.order.settings import Settings


def placed(error: RungwiseError, name: str) -> Iterator[Problem]:
    """Yield the problems of a setting's value, placed at the setting.

    Those of a file stay where they are: they are not wrong with the setting that names it.
    """
    for problem in error.problems:
        yield problem if problem.file else replace(problem, place=name)


def _two_ways(settings: Settings) -> Iterator[Problem]:
    """Yield what is asked for in two ways at once."""
    if settings.tempo is not None and settings.ladder is not None:
        yield Problem(
            "--tempo and --ladder are both given", "give one tempo or a ladder of several"
        )
    for name in ("tempo", "ladder") if settings.climb is not None else ():
        if settings.of(name) is not None:
            yield Problem(
                f"--{name} and --climb are both given",
                "a track that climbs has its own tempos: give one of them",
            )
    if settings.line is not None and settings.lines is not None:
        yield Problem("--line and --lines are both given", "give one line or several")
    if settings.part is not None and settings.tune is not None:
        yield Problem("--part and --tune are both given", "a file has parts or tunes: give one")


def _wrong_on_sheets(settings: Settings) -> Iterator[Problem]:
    """Yield what is wrong with how sheets are printed."""
    rest = settings.link.replace(EXERCISE_FIELD, "").replace(LINE_FIELD, "")
    if "{" in rest or "}" in rest:
        yield Problem(
            "no web address has braces in it",
            f"write {EXERCISE_FIELD} and {LINE_FIELD} for what is linked, and no others",
            "link",
        )
    if LINE_FIELD in settings.link and len(settings.link.encode()) > LONGEST_LINE_LINK:
        yield Problem(
            f"a line's QR code holds at most {LONGEST_LINE_LINK} bytes",
            f"write a shorter address, or leave {LINE_FIELD} out",
            "link",
        )
    if settings.landscape and settings.imposition in ("pairs", "folded"):
        yield Problem(
            "pages beside each other stand upright on a sheet that lies across",
            "leave out landscape, or print single pages",
            "landscape",
        )


def disagreements(settings: Settings) -> Iterator[Problem]:
    """Yield what is wrong with settings that are right each by itself."""
    yield from _two_ways(settings)
    if settings.introduction != "none" and not settings.count_in:
        yield Problem(
            "without a count-in there is no beat before the tune",
            "ask for a count-in of a bar or more, or leave the introduction out",
            "introduction",
        )
    if settings.share and settings.format != (AudioFormat.MP3,):
        listed = ", ".join(settings.format)
        yield Problem(
            f"small files to send are MP3, and {listed} is asked for",
            "leave out the format, or write larger files",
            "share",
        )
    if settings.share and settings.layout not in (Layout.STEREO, Layout.MONO):
        yield Problem(
            f"small files to send have one channel, and {settings.layout} is asked for",
            "leave out the layout, or write larger files",
            "share",
        )
    if settings.scale != scale_named() and all(one.is_measured for one in settings.pitch):
        yield Problem(
            "a scale is given, and the chanter has nine measured pitches of its own",
            "leave the scale out, or give the pitch in hertz",
            "scale",
        )
    yield from _wrong_on_sheets(settings)
    for name in ("soundfont", "drone_soundfont"):
        preset = name.replace("soundfont", "preset")
        file = getattr(settings, name)
        if file is None:
            continue
        # Imported when it is needed: it brings heavy packages along.
        from renderer.sound.synth import check_soundfont

        try:
            check_soundfont(file)
        except RungwiseError as error:
            yield from placed(error, name)
            continue
        if getattr(settings, preset) is None:
            yield Problem(
                f"which preset of {file} is to play is not said",
                "name it as bank and program, such as 0:109, the bagpipe of General MIDI",
                preset,
            )
    for audio_format in settings.format:
        try:
            check_rate(audio_format, rate_in(audio_format, settings.rate))
        except RungwiseError as error:
            yield from placed(error, "rate")
