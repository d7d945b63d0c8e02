"""Who may ask the workbench, and for what: a request in, the request or a refusal out.

A server on the loopback address is no closed room: every page that a browser shows can send
requests to it, and a page of somebody else's can give itself this address by its own name server
(DNS rebinding). So four things are asked of a request before anything else looks at it:

- its `Host` is this machine's own name and this server's own port;
- its `Origin`, where there is one, is this server (RFC 6454), and `Sec-Fetch-Site`, where there is
  one, is `same-origin`, or `none` for a page that a person has opened (W3C Fetch Metadata). Another
  port of this machine is the same *site*, so that word alone is not enough;
- what is asked under `/api/` carries the token that only the address of this run holds. It stands
  in the part of the address that browsers never send (`#`), and comes back in a header, which no
  page of another origin can set without being asked first;
- what writes is JSON, or, for a file that is dropped in, `application/octet-stream`: no form and no
  link of another page can send either.
"""

from __future__ import annotations

import hmac
import json
import re
import secrets
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from renderer.errors import Problem
from renderer.workbench.said import plain_problem

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

TOKEN_HEADER = b"x-rungwise-token"
_REMEDY = "open the address that was printed"
MOST_JSON_BYTES = 4_000_000
MOST_UPLOAD_BYTES = 64_000_000
"""The largest body of a request, and of one that brings a file."""

MOST_UPLOADS = 2
"""Files that are brought at a time: each is held in memory while it comes."""

PATIENCE_S = 60.0
"""So long a body may take to come, from this machine to this machine."""

UPLOAD = "application/octet-stream"
_HEADERS = (
    (
        b"content-security-policy",
        b"; ".join(
            (
                b"default-src 'none'",
                b"script-src 'self'",
                b"style-src 'self'",
                b"connect-src 'self'",
                b"img-src 'self' data: blob:",
                b"media-src blob:",
                b"base-uri 'none'",
                b"form-action 'none'",
                b"frame-ancestors 'none'",
            )
        ),
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"x-frame-options", b"DENY"),
    (b"permissions-policy", b"camera=(), geolocation=(), microphone=(self)"),
    (b"cache-control", b"no-store"),
)


Refusal = tuple[int, str, str]
"""Status, cause and remedy."""


def new_token() -> str:
    """Return what only the address of one run of the workbench holds."""
    return secrets.token_urlsafe(32)


class Guard:
    """Lets through what the page of this run asks, and refuses everything else.

    Parameters
    ----------
    app:
        What answers.
    token:
        From `new_token`.
    hosts:
        The values of `Host` that are this server, such as `127.0.0.1:8322`.
    patience_s:
        How long the body of a request may take to come.
    """

    def __init__(
        self, app: ASGIApp, token: str, hosts: Sequence[str], *, patience_s: float = PATIENCE_S
    ) -> None:
        self.app, self.token, self.hosts = app, token, frozenset(hosts)
        self.patience_s = patience_s
        self._uploads = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return

        body = _Body(receive)

        async def guarded_send(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message.get("headers", ()), *_HEADERS]
            elif not message.get("more_body", False) and not body.is_whole:
                await send({**message, "more_body": True})
                await body.let_go(self.patience_s)
                message = {"type": "http.response.body", "body": b""}
            await send(message)

        refused = self._refusal(scope)
        if refused is not None:
            await _refuse(guarded_send, *refused)
            return
        is_upload = _is_upload(scope)
        self._uploads += is_upload
        try:
            await self.app(scope, self._bounded(body.receive, is_upload=is_upload), guarded_send)
        finally:
            self._uploads -= is_upload

    def _bounded(self, receive: Receive, *, is_upload: bool) -> Receive:
        """Return what receives a body that is bounded in size and in the time that it takes."""
        import anyio
        from starlette.exceptions import HTTPException

        left = MOST_UPLOAD_BYTES if is_upload else MOST_JSON_BYTES
        until: float | None = None
        is_whole = False

        async def bounded() -> Message:
            nonlocal left, until, is_whole
            if is_whole:
                return await receive()  # which tells when the other end has gone
            until = anyio.current_time() + self.patience_s if until is None else until
            message: Message | None = None
            with anyio.CancelScope(deadline=until):
                message = await receive()
            if message is None:
                raise HTTPException(408, "what was sent did not all come in time")
            left -= len(message.get("body", b""))
            if left < 0:
                raise HTTPException(413, "more has come than this takes")
            is_whole = not message.get("more_body", False)
            return message

        return bounded

    def _refusal(self, scope: Scope) -> Refusal | None:
        """Return why a request is refused; None for what may pass."""
        pairs = [(name.lower(), value.decode("latin-1")) for name, value in scope["headers"]]
        headers = dict(pairs)
        named = [value for name, value in pairs if name == b"host"]
        if len(named) != 1 or named[0].lower() not in self.hosts:
            return 421, "this machine goes by another name", _REMEDY
        is_api = scope["path"].startswith("/api/")
        if not self._is_ours(headers, is_api=is_api):
            return 403, "another page asks", _REMEDY
        if is_api and not hmac.compare_digest(
            headers.get(TOKEN_HEADER, "").encode("latin-1"), self.token.encode()
        ):
            return 401, "the address is of another run", _REMEDY
        return self._refusal_of_body(scope, headers) if is_api else None

    def _is_ours(self, headers: Mapping[bytes, str], *, is_api: bool) -> bool:
        """Whether a request comes from the page itself, or a person has opened the page."""
        origin = headers.get(b"origin")
        site = headers.get(b"sec-fetch-site", "same-origin")
        known = {f"http://{host}" for host in self.hosts}
        return (origin is None or origin.lower() in known) and (
            site == "same-origin" or (site == "none" and not is_api)
        )

    def _refusal_of_body(self, scope: Scope, headers: Mapping[bytes, str]) -> Refusal | None:
        kind = headers.get(b"content-type", "").partition(";")[0].strip().lower()
        if kind != (UPLOAD if _is_upload(scope) else "application/json"):
            return 415, "this is not the form that is taken", "send JSON"
        stated = headers.get(b"content-length", "0")
        most = MOST_UPLOAD_BYTES if _is_upload(scope) else MOST_JSON_BYTES
        if not re.fullmatch("[0-9]{1,15}", stated) or int(stated) > most:
            return 413, f"this is larger than {most / 1_000_000:g} MB", "choose a smaller file"
        if _is_upload(scope) and self._uploads >= MOST_UPLOADS:
            return 503, "other files are being brought", "wait a moment, then bring it again"
        return None


class _Body:
    """What comes with a request, and whether all of it has come.

    A server that closes while something still comes makes the system of the other end throw away
    what it was told, so a refusal is told at once and what still comes is let go until it ends.
    """

    def __init__(self, receive: Receive) -> None:
        self._receive = receive
        self.is_whole = False

    async def receive(self) -> Message:
        """Return what comes next; the body is whole with its last part, or with a gone sender."""
        message = await self._receive()
        self.is_whole = not message.get("more_body", False)
        return message

    async def let_go(self, patience_s: float) -> None:
        """Receive the rest and keep nothing of it, for so many seconds at most."""
        import anyio

        with anyio.move_on_after(patience_s):
            while not self.is_whole:
                await self.receive()


def _is_upload(scope: Scope) -> bool:
    return bool(scope["path"] == "/api/drop")


async def _refuse(send: Send, status: int, cause: str, remedy: str) -> None:
    body = json.dumps({"problems": [plain_problem(Problem(cause, remedy))]}).encode()
    headers = [
        (b"content-type", b"application/json"),
        (b"content-length", str(len(body)).encode()),
        (b"connection", b"close"),
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
