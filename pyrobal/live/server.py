"""The server: where it listens, what it says on the terminal, how it stops."""

from __future__ import annotations

import asyncio
import socket
import threading
from typing import Any, Final

import uvicorn

from pyrobal.live.app import Live
from pyrobal.live.door import Door
from pyrobal.live.guard import Guard, new_token
from pyrobal.live.source import Source
from pyrobal.live.work import Work

ADDRESS: Final = "127.0.0.1"
_BACKLOG: Final = 64
_IDLE: Final = 30  # seconds a connection may stay open unused


def listening(port: int) -> socket.socket:
    """A socket on the loopback address, which no other machine can reach; port 0 takes a free one.

    Raises OSError where the port is taken.
    """
    found = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        found.bind((ADDRESS, port))
        found.listen(_BACKLOG)
    except OSError:
        found.close()
        raise
    return found


class Server:
    """The page of one case, served until it is stopped.

    source : the case; port : 0 for any that is free; token : a new one unless given
    """

    def __init__(
        self, source: Source, port: int = 0, token: str | None = None, processes: bool = True
    ) -> None:
        self._socket = listening(port)
        self.port, self.token = self._socket.getsockname()[1], token or new_token()
        self._work = Work(processes)
        self._live = Live(source, self._work)
        guard = Guard(self._live.app(), self.token, self.port)
        self._server = _Uvicorn(self._live, uvicorn.Config(
            guard, http=Door, ws="none", lifespan="off", loop="asyncio", log_config=None, log_level="error",
            access_log=False, server_header=False, date_header=False, proxy_headers=False,
            timeout_keep_alive=_IDLE, timeout_graceful_shutdown=1,
        ))  # fmt: skip

    @property
    def address(self) -> str:
        """What a browser opens; whoever knows it is let in."""
        return f"http://{ADDRESS}:{self.port}/{self.token}/"

    def run(self) -> None:
        """Serve until Ctrl-C, which is raised again as KeyboardInterrupt when all is closed."""
        self._live.prepare()
        try:
            self._server.run(sockets=[self._socket])
        finally:
            self._work.close()
            self._socket.close()

    def start(self) -> None:
        """Serve in a thread of its own."""
        self._thread = threading.Thread(target=self.run, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Stop what ``start`` began, and wait for it."""
        self._server.should_exit = True
        self._thread.join()


class _Uvicorn(uvicorn.Server):
    """Ends the streams of open pages before it waits for requests to end."""

    def __init__(self, live: Live, config: uvicorn.Config) -> None:
        super().__init__(config)
        self._live = live

    async def shutdown(self, sockets: Any = None) -> None:
        """Stop listening, end what is open; who still waits for an answer then is hung up on."""
        self._live.closing.set()
        await super().shutdown(sockets)
        for connection in list(self.server_state.connections):
            connection.transport.abort()
        await asyncio.sleep(0)  # in which they close
