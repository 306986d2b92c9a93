"""The page of `pyrobal live` as a user has it before him: Chromium, a server in this process, and hands."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pyrobal.live.server import Server
from pyrobal.live.source import Source

from ..report.browser import Page


def served(file: Path, port: int = 0, token: str | None = None, processes: bool = False) -> Server:
    """A server that runs, in a thread of this process."""
    server = Server(Source(str(file)), port=port, token=token, processes=processes)
    server.start()
    return server


class Live:
    """The page in a tab."""

    def __init__(self, tab: Page, address: str, width: int = 1280, dark: bool = False) -> None:
        self.tab = tab
        tab.open(address, width=width, dark=dark)
        self.settle()

    def settle(self) -> None:
        """Until the newest answer is shown."""
        self.until(
            "document.getElementById('main').dataset.asked && "
            "document.getElementById('main').dataset.asked === document.getElementById('main').dataset.answered"
        )

    def until(self, condition: str, wait: int = 60_000) -> None:
        """Until a condition holds in the page; ``wait``: ms after which it does not."""
        assert self.tab.until(condition, wait), condition

    def text(self, selector: str) -> str:
        """What stands in an element."""
        return str(self.tab.run(f"document.querySelector({json.dumps(selector)}).textContent"))

    def seen(self, selector: str) -> bool:
        """Whether it takes room on the screen."""
        found = f"document.querySelector({json.dumps(selector)})"
        return bool(self.tab.run(f"!!{found} && {found}.getClientRects().length > 0"))

    def figure(self, key: str) -> str:
        """The value of a pinned figure."""
        return self.text(f'.pin[data-key="{key}"] strong')

    def field(self, key: str) -> str:
        """What the field of a setting holds."""
        return str(self.tab.run(f"document.getElementById({json.dumps(f'set-{key}')}).value"))

    def fault(self, key: str) -> str:
        """What is said beside it."""
        return str(self.tab.run(f"document.getElementById({json.dumps(f'set-{key}-fault')}).textContent"))

    def focus(self, selector: str) -> None:
        """Puts the focus there, as a click or many tabs would."""
        self.tab.run(f"document.querySelector({json.dumps(selector)}).focus()")

    def write(self, selector: str, text: str) -> None:
        """Types a text in the place of the one that is there."""
        self.focus(selector)
        self.tab.run("document.activeElement.select()")
        self.tab.call("Input.insertText", text=text)

    def type(self, key: str, text: str) -> None:
        """Types a value into the field of a setting, and Enter."""
        self.write(f'[id="set-{key}"]', text)
        self.tab.press("Enter")
        self.settle()

    def click(self, selector: str) -> None:
        """Presses a button."""
        self.tab.run(f"document.querySelector({json.dumps(selector)}).click()")
        self.settle()

    def pick(self, selector: str, words: str) -> None:
        """The first of what a search finds."""
        self.write(selector, words)
        self.tab.press("Enter")

    def box(self, selector: str) -> dict[str, float]:
        """Where an element is on the screen, scrolled into sight."""
        found: dict[str, float] = self.tab.run(
            f"(() => {{ const e = document.querySelector({json.dumps(selector)}); "
            "e.scrollIntoView({block: 'center'}); return e.getBoundingClientRect().toJSON(); })()"
        )
        return found

    def mouse(self, kind: str, x: float, y: float) -> None:
        """ "Pressed", "Moved" or "Released"."""
        more: dict[str, Any] = {} if kind == "Moved" else {"clickCount": 1}
        self.tab.call(
            "Input.dispatchMouseEvent", type=f"mouse{kind}", x=x, y=y, button="left", buttons=1, **more
        )

    def drag(self, way: list[tuple[float, float]]) -> None:
        """From the first point over the others to the last."""
        self.mouse("Pressed", *way[0])
        for point in way[1:]:
            self.mouse("Moved", *point)
        self.mouse("Released", *way[-1])
        self.settle()
