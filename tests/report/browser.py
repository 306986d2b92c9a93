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
    "--remote-debugging-pipe", "--host-resolver-rules=MAP * ~NOTFOUND",
)  # fmt: skip


class Page:
    """One tab. ``complaints``: console errors, exceptions and blocked content; ``requests``: every address."""

    def __init__(self, process: subprocess.Popen[bytes], write: int, read: int) -> None:
        self.process, self._write, self._read = process, write, read
        self._number, self._buffer = 0, b""
        self._session: str | None = None
        self.complaints: list[str] = []
        self.requests: list[str] = []
        self.loaded = False
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")

    def call(self, method: str, **parameters: Any) -> dict[str, Any]:
        self._number += 1
        message: dict[str, Any] = {"id": self._number, "method": method, "params": parameters}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._write, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._next()
            if answer.get("id") == self._number:
                assert "error" not in answer, (method, answer["error"])
                result: dict[str, Any] = answer["result"]
                return result

    def _next(self) -> dict[str, Any]:
        while b"\0" not in self._buffer:
            part = os.read(self._read, 1 << 20)
            assert part, "the browser went away"
            self._buffer += part
        line, self._buffer = self._buffer.split(b"\0", 1)
        message: dict[str, Any] = json.loads(line)
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

    def open(self, file: Path, width: int = 1200, height: int = 900, dark: bool = False) -> None:
        self.loaded = False
        self.complaints.clear()
        self.requests.clear()
        self.resize(width, height, dark)
        self.call("Page.navigate", url=file.absolute().as_uri())
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

    def findings(self, only: str = "") -> list[Any]:
        """What axe-core finds on the page as it stands: impact, rule, how often, the first element. ``only`` one
        of its rules, such as "color-contrast"."""
        if self.run("typeof axe") == "undefined":
            self.run(gzip.decompress(_AXE.read_bytes()).decode())
        options = {"resultTypes": ["violations"]} | ({"runOnly": [only]} if only else {})
        found: list[Any] = self.run(
            f"axe.run(document, {json.dumps(options)}).then(r => r.violations"
            ".map(v => [v.impact, v.id, v.nodes.length, v.nodes[0].html.slice(0, 200)]))"
        )
        return found

    def press(self, key: str) -> None:
        code = {"Tab": 9, "Enter": 13}[key]
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
            yield Page(process, to_browser[1], from_browser[0])
        finally:
            process.terminate()
            process.wait(10)
            os.close(to_browser[1])
            os.close(from_browser[0])
            time.sleep(0.1)
