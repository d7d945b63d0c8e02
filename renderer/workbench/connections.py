"""Connections to the workbench: so many and no more, and none that only waits shuts others out.

uvicorn counts all connections against its limit, also those that send nothing, and answers 503 to
everybody once there are so many. Here, of too many, the one goes that has been silent for the
longest while a request, or the rest of one, is still to come from it.
"""

from __future__ import annotations

import asyncio
from typing import Any

from uvicorn.protocols.http.h11_impl import H11Protocol

MOST = 64
"""Connections at a time; a browser opens six to a server."""


class BoundedProtocol(H11Protocol):
    """A connection that gives way to others while it waits for what is to be sent over it."""

    def __init__(self, *told: Any, **named: Any) -> None:
        super().__init__(*told, **named)
        self.heard_s = self.loop.time()

    def connection_made(  # type: ignore[override]  # as it is in uvicorn
        self, transport: asyncio.Transport
    ) -> None:
        """Take one more; where there are too many, the one that was silent longest is closed."""
        super().connection_made(transport)
        there = [
            one
            for one in self.connections
            if isinstance(one, BoundedProtocol) and not one.transport.is_closing()
        ]
        waiting = [one for one in there if one.is_waiting]
        if len(there) > MOST and waiting:
            min(waiting, key=lambda one: one.heard_s).transport.close()

    def data_received(self, data: bytes) -> None:
        """Take what is sent."""
        self.heard_s = self.loop.time()
        super().data_received(data)

    @property
    def is_waiting(self) -> bool:
        """Whether something is still to be sent to us; else it is being answered."""
        cycle = self.cycle
        return cycle is None or cycle.response_complete or cycle.more_body
