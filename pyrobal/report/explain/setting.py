"""What a setting is: its value in a case, where that comes from, what it means and what is allowed."""

from __future__ import annotations

import re
from collections.abc import Iterator

from pyrobal.case import registry
from pyrobal.case.load import Case
from pyrobal.report.settings import settings


def explained(case: Case, key: str) -> Iterator[str]:
    """The lines on one setting; none where no setting of a case can have that key."""
    declared = next((s for s in registry.settings() if _pattern(s.key).fullmatch(key)), None)
    here = settings(case.inputs).get(key)
    if declared is None:
        return
    if here is None:
        yield f"{key}: {declared.meaning}"
        yield "  a setting that this case does not give" + (
            f"; default {declared.default}" if declared.default not in ("none", "required") else ""
        )
    else:
        yield f"{key} = {here.text()}: {here.meaning}"
        yield "  a setting, its default used" if key in case.assumed else "  a setting, given in the case"
    yield f"  allowed: {declared.allowed}"


def known() -> list[str]:
    """Every key a setting can have, names and symbols left open."""
    return [s.key for s in registry.settings()]


def _pattern(key: str) -> re.Pattern[str]:
    """``concentrate.<name>.moisture`` as what it stands for."""
    parts = re.split(r"(<[^>]*>)", key)
    return re.compile("".join(_open(p) if p.startswith("<") else re.escape(p) for p in parts))


def _open(place: str) -> str:
    return f"(?:{place[1:-1]})" if "|" in place else r"[^.]+"
