"""`rungwise audition`: a short tour of every voice."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from renderer.commands.announce import DryRun
from renderer.commands.console import output_console, print_table, spoken_length
from renderer.commands.options import Replace, naming, refuse_several, settled
from renderer.order.settings import Settings


@settled("audition")
def audition(
    output: Annotated[
        Path,
        typer.Option(
            "-o", "--output", help="The file to write: .wav, .flac, .mp3, .m4a, .opus or .ogg."
        ),
    ],
    settings: Settings,
    replace: Replace = False,
    dry_run: DryRun = False,
) -> None:
    """Write a short tour of every voice: chanters, drones, clicks, rolls and a whole track.

    Reads nothing but a SoundFont; writes one audio file and prints where in it each voice begins.

    Example: rungwise audition --pitch 478 -o tour.wav
    """

    from renderer.delivery.audio import write_audio
    from renderer.delivery.claims import check_claims, claim
    from renderer.delivery.forecast import forecast_bytes
    from renderer.delivery.tags import Tags
    from renderer.order.formats import format_named, rate_in
    from renderer.sound.tour import tour

    with naming("-o"):
        audio_format = format_named(output.suffix or output.name)
    refuse_several(settings, "a tour is at one pitch")
    (standard,), rate = settings.pitch, rate_in(audio_format, settings.rate)
    mine = claim("a tour of every voice", ["the SoundFont"], output.parent, replace=replace)
    if not dry_run:
        check_claims([(output, mine)])
    heard = tour(
        standard,
        settings.scale,
        settings.mixing,
        rate=rate,
        voice=settings.voice,
        drone_voice=settings.drone_voice,
        steady=settings.steady,
    )
    if not dry_run:
        write_audio(
            heard,
            output,
            audio_format=audio_format,
            rate=rate,
            channels=heard.channels,
            frames=heard.frames,
            tags=Tags(title="Audition of every voice", comment=f"Low A: {standard.label}."),
            claim=mine,
        )
    rows = [
        (f"{int(start // rate // 60)}:{start / rate % 60:04.1f}", stop.label)
        for stop, start in zip(heard.stops, heard.starts, strict=True)
    ]
    print_table(("Begins", "Voice"), rows, str(output))
    console = output_console()
    if dry_run:
        length = spoken_length(heard.frames / rate)
        size = forecast_bytes(heard, audio_format) / 1e6
        console.print(f"Nothing was written. It would play {length} and have about {size:.1f} MB.")
    for remark in filter(None, (standard.remark, *heard.remarks)):
        console.print(remark)
