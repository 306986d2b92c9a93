"""What the page asks for, out of the body of a request; nothing in it is trusted."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

MOST_TEXT: Final = 400  # letters of a key or a value
_MOST: Final = {"changes": 500, "hold": 20, "limits": 50, "keys": 60, "read": 200}


@dataclass(frozen=True)
class Hold:
    """A reading that is to stay at a value, and the setting that follows."""

    reading: str
    value: str
    by: str


@dataclass(frozen=True)
class Asked:
    """One request.

    number : counted by the page, given back with the answer
    changes : key -> value as a case has it, over the file; holds : met after them
    limits : "READING <= VALUE", beside those of the case
    read, keys : readings and settings asked for; x, y : settings of a window
    quantity, way : of the picture, "" for none
    what : to keep; the part of the report, or the reading, that is told
    before : the state it is compared with
    """

    number: int = 0
    changes: Mapping[str, str] = field(default_factory=dict)
    holds: tuple[Hold, ...] = ()
    limits: tuple[str, ...] = ()
    read: tuple[str, ...] = ()
    keys: tuple[str, ...] = ()
    x: str = ""
    y: str = ""
    what: str = ""
    quantity: str = ""
    way: str = ""
    before: Asked | None = None

    @property
    def assignments(self) -> list[str]:
        """The changes as ``--set`` takes them."""
        return [f"{key}={value}" for key, value in self.changes.items()]


def asked(body: bytes) -> Asked:
    """The request in a body of JSON. Raises ValueError with what is wrong with it."""
    try:
        content = json.loads(body)
    except (ValueError, RecursionError):
        raise ValueError("the body is not JSON") from None
    if not isinstance(content, dict):
        raise ValueError("the body is no JSON object")
    picture = _of(content, "picture", dict, {"quantity": "", "way": ""})
    number = content.get("number", 0)
    if not isinstance(number, int) or isinstance(number, bool):
        raise ValueError("number is no whole number")
    read = content.get("read", [])
    before = _of(content, "before", dict, {})
    return replace(
        _state(content),
        number=number,
        read=tuple(map(_text, [read] if isinstance(read, str) else _short(content, "read"))),
        keys=tuple(map(_text, _short(content, "keys"))),
        quantity=_text(picture.get("quantity", "mass")),
        way=_text(picture.get("way", "across")),
        before=_state(before) if before else None,
        x=_text(content.get("x", "")),
        y=_text(content.get("y", "")),
        what=_text(content.get("what", "")),
    )


def _state(content: dict[str, Any]) -> Asked:
    """What lies over the file."""
    return Asked(
        changes=_changes(_of(content, "changes", dict, {})),
        holds=tuple(_hold(one) for one in _short(content, "hold")),
        limits=tuple(dict.fromkeys(map(_text, _short(content, "limits")))),
    )


def _changes(given: dict[Any, Any]) -> dict[str, str]:
    if len(given) > _MOST["changes"]:
        raise ValueError("there are too many changes")
    changes = {_text(key): _text(value) for key, value in given.items()}
    if any("=" in key for key in changes):
        raise ValueError("a key holds an equals sign")
    return changes


def _hold(given: Any) -> Hold:
    if not isinstance(given, dict):
        raise ValueError("a hold is no JSON object")
    found = Hold(*(_text(given.get(name, "")) for name in ("reading", "value", "by")))
    if "=" in found.reading + found.by:
        raise ValueError("a key holds an equals sign")
    return found


def _short(content: dict[str, Any], name: str) -> list[Any]:
    given: list[Any] = _of(content, name, list, [])
    if len(given) > _MOST[name]:
        raise ValueError(f"{name} is too long")
    return given


def _of(content: dict[str, Any], name: str, kind: type, default: Any) -> Any:
    found = content.get(name, default)
    if not isinstance(found, kind):
        raise ValueError(f"{name} is of the wrong kind")
    return found


def _text(given: Any) -> str:
    if not isinstance(given, str):
        raise ValueError("a text is needed where something else stands")
    if len(given) > MOST_TEXT:
        raise ValueError("a text is too long")
    return given
