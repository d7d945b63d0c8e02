"""`rungwise audition`: a short tour of every voice."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from renderer.commands import values
from renderer.commands.options import naming, output_console, print_table
from renderer.errors import failure


def audition(
    output: Annotated[
        Path, typer.Option("-o", "--output", help="The file to write: .wav, .flac, .mp3 or .ogg.")
    ],
    pitch: Annotated[
        str, typer.Option(help="A, B flat, or low A in hertz in the pipe chanter's octave.")
    ] = "B flat",
    scale: Annotated[str, typer.Option(help="equal, MacNeill or harmonic.")] = "harmonic",
    rate: Annotated[int, values.whole("--rate", 48_000, help="Sample rate in hertz.")] = 44_100,
    soundfont: Annotated[
        Path | None, typer.Option(help="An SF2 or SF3 file to hear instead of the project's own.")
    ] = None,
    preset: Annotated[
        str | None, typer.Option(help="Its preset for the chanters, as BANK:PROGRAM.")
    ] = None,
    drone_preset: Annotated[
        str | None, typer.Option(help="Its preset for the drones, as BANK:PROGRAM.")
    ] = None,
) -> None:
    """Write a short tour of every voice: chanters, drones, clicks, rolls and a whole track.

    Reads nothing but a SoundFont; writes one audio file and prints where in it each voice begins.

    Example: rungwise audition --pitch 478 -o tour.wav
    """

    from renderer.delivery.audio import write_audio
    from renderer.delivery.formats import format_named
    from renderer.delivery.tags import Tags
    from renderer.sound.audition import tour
    from renderer.sound.pitch import parse_pitch, scale_named
    from renderer.sound.voices import Voice, parse_preset

    with naming("-o"):
        audio_format = format_named(output.suffix or output.name)
    if not output.parent.is_dir():
        raise failure("there is no such folder", "make it first", file=str(output.parent))
    if soundfont is None and (preset or drone_preset):
        raise failure("a preset is named but no SoundFont", "name its file with --soundfont")
    if soundfont is not None and not (preset or drone_preset):
        raise failure(
            f"which preset of {soundfont} is to play is not said",
            "name one with --preset or --drone-preset, as BANK:PROGRAM such as 0:109",
        )

    def voice(text: str | None) -> Voice | None:
        if soundfont is None or text is None:
            return None
        return Voice(soundfont, *parse_preset(text))

    with naming("--pitch"):
        standard = parse_pitch(pitch)
    with naming("--scale"):
        chosen_scale = scale_named(scale)
    with naming("--preset"):
        chanter_voice = voice(preset)
    with naming("--drone-preset"):
        drone_voice = voice(drone_preset)
    heard = tour(standard, chosen_scale, rate=rate, voice=chanter_voice, drone_voice=drone_voice)
    write_audio(
        heard,
        output,
        audio_format=audio_format,
        rate=rate,
        channels=heard.channels,
        frames=heard.frames,
        tags=Tags(title="Audition of every voice", comment=f"Low A: {standard.label}."),
    )
    rows = [
        (f"{int(start // rate // 60)}:{start / rate % 60:04.1f}", stop.label)
        for stop, start in zip(heard.stops, heard.starts, strict=True)
    ]
    print_table(("Begins", "Voice"), rows, str(output))
    console = output_console()
    for remark in filter(None, (standard.remark, *heard.remarks)):
        console.print(remark)
