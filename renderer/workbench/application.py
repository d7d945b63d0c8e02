"""The workbench as an ASGI application: what the page asks, answered from the folder.

The page itself is plain files of the program. Everything else is asked under `/api/`, where answers
are JSON; what cannot be done is answered with its problems, each with cause, remedy and place, as
the command line prints them. `guard.Guard` stands before all of it.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cache, cached_property
from pathlib import Path
from threading import Lock, Thread
from typing import TYPE_CHECKING, Any

from renderer.errors import Problem, RungwiseError
from renderer.workbench.asked import Answering, Bringing
from renderer.workbench.folder import ChangedOnDiskError, Folder
from renderer.workbench.guard import Guard
from renderer.workbench.running_jobs import Jobs
from renderer.workbench.said import plain_problem

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import Response

    from renderer.workbench.shown_music import ShownMusic

USUAL_PITCHES = ("A", "B flat")
USUAL_CHANTER = "practice"
"""What the page plays with until somebody asks for something else."""

SWITCH_S = 0.001
"""How long a thread works before another that has something to do may go on: a fifth of Python's
own, since a page of two dozen small files is handed out while rooms are imported and sound made."""

PROGRAM = Path(__file__).parent.parent
PAGES = PROGRAM / "workbench" / "pages"
PLAYER = PROGRAM / "delivery" / "page"
"""The folders of the page's own files, and of the practice page's modules that it plays with."""

_KINDS = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".txt": "text/plain; charset=utf-8",
}


@dataclass
class Bench:
    """What the routes share.

    Parameters
    ----------
    folder:
        The teacher's.
    end:
        Ends the server.
    jobs:
        What takes a while.
    """

    folder: Folder
    end: Callable[[], None] = lambda: None
    jobs: Jobs = field(default_factory=Jobs)
    _warming: list[Thread] = field(default_factory=list)
    _importing: Lock = field(default_factory=Lock)

    @cached_property
    def music(self) -> ShownMusic:
        """Staves, moments and sound; made when first asked for: it brings heavy packages along."""
        from renderer.workbench.shown_music import ShownMusic

        return ShownMusic()

    def rooms(self) -> tuple[dict[str, Bringing], dict[str, Answering]]:
        """Return what brings files and what answers, by names; imported when first asked for.

        One thread imports and the others wait: of modules that two import at a time, one may see
        half.
        """
        with self._importing:
            return self._rooms

    @cached_property
    def _rooms(self) -> tuple[dict[str, Bringing], dict[str, Answering]]:
        return files_of(self), routes_of(self)

    def prepare(self) -> None:
        """Begin to import what answers, while a browser takes in the page.

        What goes wrong with it is said when the page asks.
        """
        Thread(target=self._import_rooms, daemon=True).start()

    def _import_rooms(self) -> None:
        with suppress(Exception):
            self.rooms()

    def warm(self) -> None:
        """Begin, once, to make the usual sound, so that it is there when somebody presses a note.

        What goes wrong with it is said when the page asks for it.
        """
        if not self._warming:
            self._warming.append(Thread(target=self._make_usual_sound, daemon=True))
            self._warming[0].start()

    def _make_usual_sound(self) -> None:
        with suppress(RungwiseError):
            self.music.sound(USUAL_PITCHES, USUAL_CHANTER)


@cache
def static_files() -> dict[str, tuple[Path, str]]:
    """Return the files of the page by their addresses, each with its kind."""
    found = {}
    for folder in (PAGES, PLAYER):
        # As they lie beside each other in the program, so that modules find each other.
        address = f"/{folder.relative_to(PROGRAM).as_posix()}/"
        for path in sorted(folder.iterdir()):
            is_of_a_page_alone = folder == PLAYER and path.name in ("page.css", "page.html")
            if path.suffix in _KINDS and not is_of_a_page_alone:
                found[f"{address}{path.name}"] = (path, _KINDS[path.suffix])
    found["/"] = (PAGES / "index.html", _KINDS[".html"])
    return found


def routes_of(bench: Bench) -> dict[str, Answering]:
    """Return what is asked, by the name behind `/api/`; each takes and gives what JSON holds."""
    from renderer.workbench import (
        file_answers,
        handing_answers,
        knowing_answers,
        music_answers,
        sheet_answers,
        tuning_answers,
    )

    return {
        **file_answers.answers(bench),
        **music_answers.answers(bench),
        **knowing_answers.answers(bench),
        **sheet_answers.answers(bench),
        **tuning_answers.answers(bench),
        **handing_answers.answers(bench),
    }


def files_of(bench: Bench) -> dict[str, Bringing]:
    """Return what is asked for as a file, by the name behind `/api/`."""
    from renderer.workbench import handing_answers

    return handing_answers.files(bench)


def workbench(bench: Bench, token: str, hosts: Sequence[str]) -> Guard:
    """Return the server of a folder, as an ASGI application.

    Parameters
    ----------
    bench:
        The folder, and how to end.
    token:
        What the address holds, from `guard.new_token`.
    hosts:
        As for `guard.Guard`.
    """
    from starlette.applications import Starlette
    from starlette.concurrency import run_in_threadpool
    from starlette.exceptions import HTTPException
    from starlette.responses import FileResponse, JSONResponse, Response
    from starlette.routing import Route

    async def file(request: Request) -> Response:
        known = static_files().get(request.url.path)
        if known is None:
            raise HTTPException(status_code=404)
        path, kind = known
        # At once: small as they are, handing them to threads would take longer.
        return Response(path.read_bytes(), media_type=kind)

    async def api(request: Request) -> Response:
        name = request.path_params["name"]
        body = await request.body()
        try:
            asked = json.loads(body)
        except (ValueError, RecursionError):
            asked = None
        if not isinstance(asked, dict):
            return _problem_answer(400, "this is no JSON table", "load the page again")
        return await answered(name, asked)

    async def drop(request: Request) -> Response:
        data = await request.body()
        return await answered("drop", {"name": request.query_params.get("name", ""), "data": data})

    async def answered(name: str, asked: Mapping[str, Any]) -> Response:
        def found() -> Response:
            try:
                bringing, answering = bench.rooms()
                if (bring := bringing.get(name)) is not None:
                    given = bring(asked)
                    return FileResponse(given.path, media_type=given.kind)
                if (answer := answering.get(name)) is not None:
                    return JSONResponse(answer(asked))
                return _problem_answer(404, "nothing of that name is asked here", "")
            except ChangedOnDiskError as error:
                there = {"text": error.text, "version": error.version}
                return JSONResponse({"refused": 409} | _plain(error.problems) | there)
            except RungwiseError as error:
                # No failure of the protocol: browsers would write it into their consoles.
                return JSONResponse({"refused": 422} | _plain(error.problems))

        return await run_in_threadpool(found)

    def _problem_answer(status: int, cause: str, remedy: str) -> Response:
        return JSONResponse(_plain([Problem(cause, remedy)]), status_code=status)

    async def refused(_request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        return _problem_answer(error.status_code, error.detail, "")

    async def fault(_request: Request, error: Exception) -> Response:
        return _problem_answer(
            500,
            f"the workbench has a fault of its own: {type(error).__name__}",
            "what you typed is still here; report it with the exercise",
        )

    def _plain(problems: Sequence[Problem]) -> dict[str, Any]:
        return {"problems": [plain_problem(one) for one in problems]}

    app: Starlette = Starlette(
        routes=[
            Route("/api/drop", drop, methods=["POST"]),
            Route("/api/{name}", api, methods=["POST"]),
            Route("/{path:path}", file, methods=["GET"]),
        ],
        exception_handlers={HTTPException: refused, Exception: fault},
    )
    return Guard(app, token, hosts)


def serve(app: Guard, taking: Any, bench: Bench) -> None:
    """Answer requests until Ctrl-C, or until the page asks to end."""
    import uvicorn

    from renderer.workbench.connections import BoundedProtocol

    config = uvicorn.Config(
        app,
        http=BoundedProtocol,
        log_level="critical",
        access_log=False,
        server_header=False,
        lifespan="off",
        timeout_keep_alive=5,
        timeout_graceful_shutdown=2,
        h11_max_incomplete_event_size=32_768,
    )
    server = uvicorn.Server(config)

    def end() -> None:
        server.should_exit = True

    bench.end = end
    # Whatever else is worked on, what is asked is taken up soon.
    sys.setswitchinterval(SWITCH_S)
    bench.prepare()
    try:
        server.run(sockets=[taking])
    finally:
        # What has been begun would be waited for.
        bench.jobs.stop_all()
