"""Chromium over its debugging pipe: opens a page, hears errors and requests, runs script, takes pictures."""

from __future__ import annotations

import base64
import gzip
import json
import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
REQUIRED = (
    "PYROBAL_TESTS_NEED_BROWSER"  # set where a browser must be there: its tests fail instead of passing by
)
needs_browser = pytest.mark.skipif(
    CHROMIUM is None and REQUIRED not in os.environ, reason="no Chromium on this machine"
)
_AXE = Path(__file__).parent / "axe" / "axe.min.js.gz"
_FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--hide-scrollbars",
    "--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage",
    "--remote-debugging-pipe", "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
)  # fmt: skip
_KEYS = {
    "Tab": 9, "Enter": 13, "Escape": 27, "End": 35, "Home": 36,
    "ArrowLeft": 37, "ArrowUp": 38, "ArrowRight": 39, "ArrowDown": 40,
}  # fmt: skip
_FINDINGS = """async (options) => {
  const rows = [...document.querySelectorAll("tr")].filter((row) => !row.checkVisibility());
  const places = rows.map(() => document.createComment(""));
  rows.forEach((row, i) => row.replaceWith(places[i]));
  const found = await axe.run(document, options);
  places.forEach((place, i) => place.replaceWith(rows[i]));
  return found.violations.map((v) => [v.impact, v.id, v.nodes.length, v.nodes[0].html.slice(0, 200)]);
}"""


class Pipe:
    """Messages to the browser and from it, of all its tabs."""

    def __init__(self, write: int, read: int) -> None:
        self._write, self._read = write, read
        self._number, self._buffer = 0, b""

    def send(self, message: dict[str, Any]) -> int:
        """Its number."""
        self._number += 1
        os.write(self._write, json.dumps({"id": self._number, **message}).encode() + b"\0")
        return self._number

    def next(self) -> dict[str, Any]:
        while b"\0" not in self._buffer:
            part = os.read(self._read, 1 << 20)
            assert part, "the browser went away"
            self._buffer += part
        line, self._buffer = self._buffer.split(b"\0", 1)
        message: dict[str, Any] = json.loads(line)
        return message


class Page:
    """One tab. ``complaints``: console errors, exceptions and blocked content; ``requests``: every address."""

    def __init__(self, process: subprocess.Popen[bytes], pipe: Pipe) -> None:
        self.process, self._pipe = process, pipe
        self._session: str | None = None
        self.complaints: list[str] = []
        self.requests: list[str] = []
        self.loaded = False
        self._target = self.call("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.call("Target.attachToTarget", targetId=self._target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")

    def call(self, method: str, **parameters: Any) -> dict[str, Any]:
        message: dict[str, Any] = {"method": method, "params": parameters}
        if self._session:
            message["sessionId"] = self._session
        number = self._pipe.send(message)
        while True:
            answer = self._next()
            if answer.get("id") == number:
                assert "error" not in answer, (method, answer["error"])
                result: dict[str, Any] = answer["result"]
                return result

    def _next(self) -> dict[str, Any]:
        message = self._pipe.next()
        if message.get("sessionId", self._session) == self._session:  # else of another tab
            self._hear(message.get("method", ""), message.get("params", {}))
        return message

    def _hear(self, method: str, p: dict[str, Any]) -> None:
        if method == "Runtime.exceptionThrown":
            self.complaints.append(str(p["exceptionDetails"].get("exception", p["exceptionDetails"])))
        elif method == "Runtime.consoleAPICalled" and p["type"] in ("error", "warning", "assert"):
            self.complaints.append(str([a.get("value", a.get("description")) for a in p["args"]]))
        elif method == "Log.entryAdded" and p["entry"]["level"] in ("error", "warning"):
            self.complaints.append(p["entry"]["text"])
        elif method == "Network.requestWillBeSent":
            self.requests.append(p["request"]["url"])
        elif method == "Page.loadEventFired":
            self.loaded = True

    def another(self) -> Page:
        """Another tab of the same browser."""
        return Page(self.process, self._pipe)

    def close(self) -> None:
        """As a user closes a tab; the browser stays."""
        self._session = None
        self.call("Target.closeTarget", targetId=self._target)

    def open(self, file: Path | str, width: int = 1200, height: int = 900, dark: bool = False) -> None:
        """A file, or an address of this machine."""
        self.loaded = False
        self.complaints.clear()
        self.requests.clear()
        self.resize(width, height, dark)
        self.call("Page.navigate", url=file if isinstance(file, str) else file.absolute().as_uri())
        while not self.loaded:
            self._next()
        time.sleep(0.3)
        self.run("1")  # lets what was said meanwhile arrive

    def resize(self, width: int, height: int = 900, dark: bool = False) -> None:
        """Another window, or the other theme, for the page that stands open."""
        scheme = [{"name": "prefers-color-scheme", "value": "dark" if dark else "light"}]
        self.call("Emulation.setEmulatedMedia", media="", features=scheme)
        self.call(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=False,
        )

    def run(self, script: str) -> Any:
        answer = self.call("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in answer, answer["exceptionDetails"]
        return answer["result"].get("value")

    def until(self, condition: str, wait: float = 60_000) -> bool:
        """Whether a condition comes to hold in the page; ``wait``: ms after which it does not."""
        return bool(
            self.run(
                f"new Promise(done => {{ const end = performance.now() + {wait}; const look = () => "
                f"({condition}) ? done(true) : performance.now() > end ? done(false) : setTimeout(look, 10); "
                "look(); })"
            )
        )

    def findings(self, only: str = "") -> list[Any]:
        """What axe-core finds on the page as it stands: impact, rule, how often, the first element. ``only`` one
        of its rules, such as "color-contrast". It looks at what is shown; rows that are not, which are most of
        a page, are put back behind it."""
        if self.run("typeof axe") == "undefined":
            self.run(gzip.decompress(_AXE.read_bytes()).decode())
        options = {"resultTypes": ["violations"], "selectors": False} | ({"runOnly": [only]} if only else {})
        found: list[Any] = self.run(f"({_FINDINGS})({json.dumps(options)})")
        return found

    def press(self, key: str) -> None:
        code = _KEYS[key]
        text = {"text": "\r"} if key == "Enter" else {}
        for kind, more in (("keyDown", text), ("keyUp", {})):
            self.call(
                "Input.dispatchKeyEvent", type=kind, key=key, code=key, windowsVirtualKeyCode=code, **more
            )

    def picture(self, file: Path, top: int = 0, width: int = 1100, height: int = 1000) -> None:
        clip = {"x": 0, "y": top, "width": width, "height": height, "scale": 1}
        shot = self.call("Page.captureScreenshot", captureBeyondViewport=True, clip=clip)
        file.write_bytes(base64.b64decode(shot["data"]))

    def pdf(self, file: Path) -> None:
        file.write_bytes(base64.b64decode(self.call("Page.printToPDF", preferCSSPageSize=True)["data"]))


@contextmanager
def browser() -> Iterator[Page]:
    """A page in a browser of its own, with an empty profile and no way to the network."""
    assert CHROMIUM is not None, f"{REQUIRED} is set, and there is no Chromium"
    to_browser, from_browser = os.pipe(), os.pipe()
    with tempfile.TemporaryDirectory() as profile:
        command = 'exec 3<&"$1" 4>&"$2"; shift 2; exec "$@"'
        process = subprocess.Popen(
            ["bash", "-c", command, "bash", str(to_browser[0]), str(from_browser[1]), CHROMIUM, *_FLAGS,
             f"--user-data-dir={profile}"],
            pass_fds=(to_browser[0], from_browser[1]),
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        os.close(to_browser[0])
        os.close(from_browser[1])
        try:
            yield Page(process, Pipe(to_browser[1], from_browser[0]))
        finally:
            process.terminate()
            process.wait(10)
            os.close(to_browser[1])
            os.close(from_browser[0])
            time.sleep(0.1)
