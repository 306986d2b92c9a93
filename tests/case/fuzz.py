"""Mutated cases: every answer is faults with a line or a balance that closes, never another error.

python tests/case/fuzz.py 10000 [SEED]
"""

from __future__ import annotations

import functools
import pickle
import random
import sys
from pathlib import Path

import numpy as np

from pyrobal.case.load import load_case
from pyrobal.errors import CaseError
from pyrobal.flowsheet.solve import solve
from pyrobal.readings import registry

CASES = sorted((Path(__file__).parents[2] / "cases").glob("*.toml"))
CLOSED = 1e-9
_WORDS = ('"0 %"', '"100 %"', '"1e9 t/h"', '"-5 MW"', "nan", "0", "-1", "1e-300", '"predicted"', '"fuel"', "[]", "{}", "true",
          '"64 %"', '"1250 degC"', '"\\u001b"', "")  # fmt: skip


def mutated(text: str, chance: random.Random) -> str:
    """A case with a few of its lines changed, lost, doubled or moved, or letters of it cut."""
    lines = text.split("\n")
    for _ in range(chance.randint(1, 4)):
        i, j = chance.randrange(len(lines)), chance.randrange(len(lines))
        match chance.randrange(6):
            case 0 | 1:
                lines[i] = f"{lines[i].partition('=')[0]}= {chance.choice(_WORDS)}"
            case 2:
                lines[i] = ""
            case 3:
                lines.insert(j, lines[i])
            case 4:
                lines[i], lines[j] = lines[j], lines[i]
            case 5:
                at = chance.randrange(len(lines[i]) + 1)
                lines[i] = lines[i][:at] + chance.choice('"[]{}=.,0é\x1b\u202e') + lines[i][at + 1 :]
    return "\n".join(lines)


def wrong(text: str) -> str:
    """What is wrong with the answer to a case, "" where nothing is."""
    try:
        inputs = load_case(text).inputs
    except CaseError as error:
        hidden = [str(fault) for fault in error.faults if not str(fault).isprintable()]
        return f"hidden characters: {hidden[0]!r}" if hidden else ""
    return _open(pickle.dumps(inputs))


@functools.cache  # many mutations change a remark, or nothing
def _open(written: bytes) -> str:
    results = solve(pickle.loads(written))
    closures = {
        key: x
        for key in registry.keys(results)
        if key.endswith(".closure")
        for x in [registry.evaluate(results, key)]
    }
    off = {key: x for key, x in closures.items() if np.isfinite(x).any() and np.nanmax(np.abs(x)) > CLOSED}
    return f"does not close: {off}" if off else ""


def fuzz(count: int, seed: int) -> list[str]:
    """The complaints about ``count`` mutated cases, each with the case. Any other error is raised."""
    chance = random.Random(seed)
    texts = [file.read_text(encoding="utf-8") for file in CASES]
    complaints = []
    for _ in range(count):
        text = mutated(chance.choice(texts), chance)
        try:
            said = wrong(text)
        except Exception as error:
            said = f"{type(error).__name__}: {error}"
        if said:
            complaints.append(f"{said}\n{text}")
    return complaints


if __name__ == "__main__":
    found = fuzz(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1)
    print("\n----\n".join(found) or "nothing wrong")
    sys.exit(bool(found))
