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

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

TOKEN_HEADER = b"x-rungwise-token"
_REMEDY = "open the address that was printed"
MOST_JSON_BYTES = 4_000_000
MOST_UPLOAD_BYTES = 64_000_000
"""The largest body of a request, and of one that brings a file."""

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
    """

    def __init__(self, app: ASGIApp, token: str, hosts: Sequence[str]) -> None:
        self.app, self.token, self.hosts = app, token, frozenset(hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return

        async def guarded_send(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message.get("headers", ()), *_HEADERS]
            await send(message)

        refused = self._refusal(scope)
        if refused is not None:
            await _refuse(guarded_send, *refused)
            return
        left = MOST_UPLOAD_BYTES if _is_upload(scope) else MOST_JSON_BYTES

        async def bounded_receive() -> Message:
            from starlette.exceptions import HTTPException

            nonlocal left
            message = await receive()
            left -= len(message.get("body", b""))
            if left < 0:
                raise HTTPException(413, "more has come than this takes")
            return message

        await self.app(scope, bounded_receive, guarded_send)

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
        return None


def _is_upload(scope: Scope) -> bool:
    return bool(scope["path"] == "/api/drop")


async def _refuse(send: Send, status: int, cause: str, remedy: str) -> None:
    body = json.dumps({"problems": [{"cause": cause, "remedy": remedy}]}).encode()
    headers = [
        (b"content-type", b"application/json"),
        (b"content-length", str(len(body)).encode()),
        (b"connection", b"close"),
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
