"""`rungwise open`: the workbench, in a browser on this machine."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def open_folder(
    folder: Annotated[
        Path | None,
        typer.Argument(
            help="The folder of your exercises; made if it is not there.",
            show_default="the folder you are in",
        ),
    ] = None,
    port: Annotated[
        int | None,
        typer.Option(
            "--port",
            help="The port, 0 for any that is free.",
            show_default="8322, or any that is free",
            min=0,
            max=65_535,
        ),
    ] = None,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open it in the browser.")
    ] = True,
    shortcut: Annotated[
        bool,
        typer.Option(
            "--shortcut",
            help="Put what opens it without a terminal into the desktop's menu (macOS: "
            "Applications), and stop there.",
        ),
    ] = False,
) -> None:
    """Open a folder of exercises in the browser, to write, hear and see them.

    Reads and writes in that folder only; the files stay definitions that every other command takes.
    It can be reached from this machine alone, by the address that is printed. Ends with Ctrl-C, or
    from the page.

    Example: rungwise open exercises
    """
    from renderer.delivery.files import check_writable, make_folder
    from renderer.workbench.guard import new_token
    from renderer.workbench.hand_out import listening_socket, own_addresses

    place = Path() if folder is None else folder
    make_folder(place)
    check_writable(place)
    if shortcut:
        from renderer.delivery.desktop_entry import write_shortcut

        written = write_shortcut(place)
        typer.echo(f"{written}: it opens {place.resolve()}; the page has a button that ends it.")
        return
    taking = listening_socket(_usual_port() if port is None else port, lan=False)
    number = taking.getsockname()[1]
    token = new_token()
    hosts = [f"{name}:{number}" for name in own_addresses(lan=False)]
    address = f"http://{hosts[0]}/#{token}"
    typer.echo(f"{address}  (Ctrl-C ends it)")
    if browser:
        _open_later(address)
    # Only now, while the browser starts: it waits at the door until there is an answer.
    from renderer.workbench.application import Bench, serve, workbench
    from renderer.workbench.folder import Folder

    bench = Bench(Folder(place))
    serve(workbench(bench, token, hosts), taking, bench)


_USUAL_PORT = 8_322
"""The same every time, so that what a browser remembers of the workbench holds."""


def _usual_port() -> int:
    from renderer.errors import RungwiseError
    from renderer.workbench.hand_out import listening_socket

    try:
        listening_socket(_USUAL_PORT, lan=False).close()
    except RungwiseError:
        return 0
    return _USUAL_PORT


def _open_later(address: str) -> None:
    """Open the address in a browser, from a thread: some wait until the browser is closed."""
    import threading
    import webbrowser

    threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
