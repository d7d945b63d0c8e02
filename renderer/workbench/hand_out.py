"""Handing out a folder of pages and tracks on the network: read only, and only what is asked for.

What is handed out are files of the forms that Rungwise makes, inside the folder: no hidden files,
no links that lead out of it, nothing else that happens to lie there. Requests that name another
host are refused, so that no page of somebody else's can read the folder through a browser that is
pointed here under a false name.
"""

from __future__ import annotations

import base64
import hashlib
import html
import os
import socket
from collections.abc import Iterator, Sequence
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING
from urllib.parse import quote

from renderer.errors import failure

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import Response

PAGES = (".html", ".htm")
OTHERS = (
    *(".mp3", ".m4a", ".opus", ".ogg", ".flac", ".wav", ".m3u8", ".mid"),
    *(".pdf", ".png", ".svg", ".musicxml", ".abc", ".toml", ".ics", ".csv", ".zip"),
)
"""The endings of what is handed out: practice pages, and what else Rungwise makes."""

MOST_LISTED = 2_000

_HEADERS = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"x-frame-options", b"DENY"),
    (b"cache-control", b"no-cache"),
)
# Names large enough for a finger, one below the other.
_STYLE = """
body { margin: 0 auto; padding: 1rem; max-width: 48rem; color: #1c2226; background: #fbfaf6;
  font: 1.1rem/1.4 system-ui, sans-serif; overflow-wrap: anywhere; }
h1 { font-size: 1.5rem; }
ul { list-style: none; margin: 0; padding: 0; }
a { display: block; padding: 0.75rem 0.25rem; border-top: 1px solid #c9ccc6; color: #14554e; }
a:focus-visible { outline: 3px solid; }
span { color: #545d63; }
@media (prefers-color-scheme: dark) {
  body { color: #ece9e2; background: #14181a; }
  a { color: #8fd0c4; border-color: #454d51; }
  span { color: #aab2b5; }
}
"""
_STYLE_DIGEST = base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()
_LIST = """<!doctype html>
<html lang="en"><head><meta charset="utf-8">
<meta http-equiv="Content-Security-Policy"
 content="default-src 'none'; img-src data:; style-src 'sha256-{digest}'">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark"><link rel="icon" href="data:,">
<title>{title}</title><style>{style}</style></head>
<body><main><h1>{title}</h1><ul>
{rows}
</ul></main></body></html>
"""


def is_handed_out(name: str) -> bool:
    """Return whether a file of this name, relative to the folder, is among what is handed out."""
    parts = PurePosixPath(name).parts
    hidden = any(part.startswith(".") for part in parts)
    return bool(parts) and not hidden and parts[-1].lower().endswith((*PAGES, *OTHERS))


def listed(folder: Path) -> list[str]:
    """Return the names of what a folder hands out, pages first, at most `MOST_LISTED`."""
    found = sorted(_found(folder), key=lambda name: (not name.lower().endswith(PAGES), name))
    return found[:MOST_LISTED]


def _found(folder: Path) -> Iterator[str]:
    root = folder.resolve()
    for place, folders, files in os.walk(root):  # which follows no links to folders
        folders.sort()
        for file in files:
            path = Path(place) / file
            name = path.relative_to(root).as_posix()
            if is_handed_out(name) and path.resolve().is_relative_to(root) and path.is_file():
                yield name


def _row(name: str) -> str:
    """A file in the list: its name, and before it, less prominent, its folders."""
    *folders, own = PurePosixPath(name).parts
    before = f"<span>{html.escape(' / '.join(folders))} / </span>" if folders else ""
    return f'<li><a href="{html.escape(quote(name))}">{before}{html.escape(own)}</a></li>'


def hand_out(folder: Path, hosts: Sequence[str]) -> Starlette:
    """Return the server of a folder, as an ASGI application.

    Parameters
    ----------
    folder:
        What is handed out; links that lead out of it are not followed.
    hosts:
        The names and addresses, without ports, under which this machine is asked.
    """
    from starlette.applications import Starlette
    from starlette.exceptions import HTTPException
    from starlette.middleware import Middleware
    from starlette.middleware.trustedhost import TrustedHostMiddleware
    from starlette.responses import HTMLResponse
    from starlette.routing import Mount, Route
    from starlette.staticfiles import StaticFiles
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

    class Handed(StaticFiles):
        async def get_response(self, path: str, scope: Scope) -> Response:
            name = Path(path).as_posix()
            if not is_handed_out(name):
                raise HTTPException(status_code=404)
            try:
                return await super().get_response(path, scope)
            except (OSError, ValueError):
                # Names that are too long, or hold what no name can.
                raise HTTPException(status_code=404) from None

    class Guarded:
        def __init__(self, app: ASGIApp) -> None:
            self.app = app

        async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
            async def with_headers(message: Message) -> None:
                if message["type"] == "http.response.start":
                    message["headers"] = [*message.get("headers", ()), *_HEADERS]
                await send(message)

            await self.app(scope, receive, with_headers)

    title = folder.resolve().name or "Rungwise"

    def index(_: Request) -> HTMLResponse:
        filled = {
            "title": html.escape(title),
            "rows": "\n".join(map(_row, listed(folder))),
            "style": _STYLE,
            "digest": _STYLE_DIGEST,
        }
        return HTMLResponse(_LIST.format_map(filled))

    return Starlette(
        routes=[Route("/", index), Mount("/", Handed(directory=folder))],
        middleware=[
            Middleware(Guarded),
            Middleware(TrustedHostMiddleware, allowed_hosts=list(hosts), www_redirect=False),
        ],
    )


def own_addresses(*, lan: bool) -> tuple[str, ...]:
    """Return the names and addresses of this machine, the one to be shown first.

    Those that other machines know it by are among them only on the network (`lan`).
    """
    here = ("127.0.0.1", "localhost")
    if not lan:
        return here
    name = socket.gethostname().lower()
    found: list[str] = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # Nothing is sent: the system only says from which address it would be.
            probe.connect(("192.0.2.1", 9))
            found.append(probe.getsockname()[0])
        except OSError:
            pass
    short = name.partition(".")[0]
    return tuple(dict.fromkeys([*found, name, short, f"{short}.local", *here]))


def listening_socket(port: int, *, lan: bool) -> socket.socket:
    """Return a socket that takes requests; from this machine only, unless it is for the network.

    Raises a `RungwiseError` if the port is taken or not allowed.
    """
    taking = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    taking.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        taking.bind(("0.0.0.0" if lan else "127.0.0.1", port))
    except (OSError, OverflowError) as error:
        taking.close()
        why = getattr(error, "strerror", None) or str(error)
        raise failure(
            f"port {port} cannot be used ({why})", "choose another one, or --port 0 for any"
        ) from None
    taking.listen(2_048)
    return taking


def serve(app: Starlette, taking: socket.socket) -> None:
    """Answer requests until the process is asked to stop."""
    import uvicorn

    _allow_many_files()
    config = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        server_header=False,
        lifespan="off",
        timeout_keep_alive=5,
        timeout_graceful_shutdown=2,
    )
    uvicorn.Server(config).run(sockets=[taking])


def _allow_many_files() -> None:
    """Let this process have as many files open as the system lets it: a class asks at once."""
    try:
        import resource
    except ImportError:
        return  # where there is no such limit
    _, most = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = 65_536 if most == resource.RLIM_INFINITY else most
    resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, most))
