"""`rungwise serve`: a folder of pages and tracks for the telephones in the room."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from renderer.commands.console import output_console


def serve(
    folder: Annotated[
        Path, typer.Argument(help="The folder of pages and tracks.", show_default=False)
    ],
    lan: Annotated[
        bool,
        typer.Option(
            "--lan", help="Let other machines on the same network ask, not only this one."
        ),
    ] = False,
    port: Annotated[
        int, typer.Option("--port", help="The port, 0 for any that is free.", min=0, max=65_535)
    ] = 8_321,
) -> None:
    """Hand out a folder of pages and tracks to browsers, on this machine or in the room.

    Reads the folder, writes nothing; hands out what Rungwise makes, and no hidden files. With --lan
    the address is printed as a QR code, too: point a telephone in the same network at it. Ends with
    Ctrl-C. Everybody in that network can read the folder while it runs.

    Example: rungwise serve larkmoor --lan
    """
    from renderer.errors import failure
    from renderer.workbench.hand_out import (
        hand_out,
        listed,
        listening_socket,
        own_addresses,
    )
    from renderer.workbench.hand_out import serve as answer

    if not folder.is_dir():
        raise failure("there is no such folder", "name one that is there", file=str(folder))
    if not listed(folder):
        raise failure(
            "it holds nothing to hand out",
            "make pages or tracks in it: rungwise page first-gracenotes -o FOLDER/page.html",
            file=str(folder),
        )
    hosts = own_addresses(lan=lan)
    taking = listening_socket(port, lan=lan)
    address = f"http://{hosts[0]}:{taking.getsockname()[1]}/"
    console = output_console()
    if lan:
        import segno

        segno.make(address, error="m", micro=False).terminal(compact=True)
        console.print(
            "Everybody in this network can read the folder. Over http a telephone's screen goes "
            "dark by itself: set a longer time in its settings.",
            highlight=False,
        )
    console.print(f"{address}  (Ctrl-C ends it)", markup=False, highlight=False, soft_wrap=True)
    answer(hand_out(folder, hosts), taking)
