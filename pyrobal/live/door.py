"""A connection to the server. Whoever opens one has to show the token soon, or it is closed.

Another user of this machine can open connections too. Of those that have not shown the token only a few stay
open, the latest: a thousand of them take no place from the page.
"""

from __future__ import annotations

import asyncio
from typing import Any, Final

from uvicorn.protocols.http.h11_impl import H11Protocol

MOST: Final = 64  # connections that have not shown the token
PATIENCE: Final = 10.0  # seconds until they have to


class Door(H11Protocol):
    """known : whether a request on it has shown the token (``Guard`` says so)"""

    known = False

    def __init__(self, *arguments: Any, **others: Any) -> None:
        super().__init__(*arguments, **others)
        self.app_state = {**self.app_state, "door": self}  # each request carries it

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Make room for a new one."""
        super().connection_made(transport)
        self.since = self.loop.time()
        self.loop.call_later(PATIENCE, self.close_unknown)
        strangers = [c for c in self.connections if isinstance(c, Door) and c.strange]
        if len(strangers) > MOST:
            min(strangers, key=lambda door: door.since).close_unknown()

    @property
    def strange(self) -> bool:
        """Open, and without the token so far; one that is being closed makes no room a second time."""
        return not self.known and not self.transport.is_closing()

    def close_unknown(self) -> None:
        """Close it, unless it has shown the token."""
        if self.strange:
            self.transport.abort()
