"""The manual and the code say the same: each equation has its place, each symbol its line, each link a target.

Examples are run when the site is built (``docs/build.py``), which takes minutes; here one page of them is.
"""

from __future__ import annotations

import importlib
import inspect
import re
import sys
from pathlib import Path
from typing import Any

import pytest

DOCS = Path(__file__).parents[2] / "docs"
sys.path.insert(0, str(DOCS))

PAGES = sorted((DOCS / "manual").glob("*.md"))
EVERY = [
    *sorted(DOCS.glob("*.md")),
    *PAGES,
    *sorted((DOCS / "tutorials").glob("*.md")),
    DOCS.parent / "README.md",
]
TEXT = "\n".join(page.read_text(encoding="utf-8") for page in PAGES)
# Modules whose public functions are equations of the field.
EQUATIONS = [
    "thermo.solutions", "thermo.distribution", "thermo.coppermaking", "thermo.dew_point", "thermo.acid_solution",
    "thermo.henry", "thermo.water", "streams.assay", "streams.hood", "streams.site", "plant.dryer",
    "plant.smelting.equilibrium", "plant.smelting.matte", "plant.smelting.melt", "plant.converting.blow",
    "plant.converting.time_step", "plant.anode_furnace.refining", "plant.gas_train.hot",
    "plant.gas_train.cooler", "plant.gas_train.reactions", "plant.gas_train.wet", "plant.acid_plant.bed",
    "plant.acid_plant.converter", "plant.load.schedule", "plant.emissions.averaging", "plant.emissions.upsets",
    "numerics.gross_errors", "numerics.recycle",
]  # fmt: skip
NO_EQUATION = {  # axes, units, sums, and other words for what has its place
    "log10_atm", "stoichiometry", "dry_flow", "liquor_entry", "liquor_phase", "taken_up", "wash_water", "amount",
    "key", "carriers", "burnt_gas", "air_species", "hot_enthalpies", "potentials", "peak",
    "empty",
}  # fmt: skip
STEPS = ["minerals", "heat", "dryer", "smelting", "slag_cleaning", "converting", "anode_furnace", "electrorefining", "gas_train", "load", "acid_plant", "emissions", "recycles", "derivatives", "reconciliation", "uncertainty"]  # fmt: skip


def _functions(name: str) -> list[str]:
    module = importlib.import_module(f"pyrobal.{name}")
    found = inspect.getmembers(module, inspect.isfunction)
    public = [word for word, f in found if f.__module__ == module.__name__ and not word.startswith("_")]
    return [f"pyrobal.{name}.{word}" for word in public if word not in NO_EQUATION]


@pytest.mark.parametrize("name", [one for module in EQUATIONS for one in _functions(module)])
def test_each_equation_of_the_code_has_its_place(name: str) -> None:
    assert f"`{name}`" in TEXT


@pytest.mark.parametrize("name", sorted(set(re.findall(r"`(pyrobal\.[\w.]+)`", TEXT))))
def test_what_the_manual_points_to_is_there(name: str) -> None:
    parts = name.split(".")
    for i in range(len(parts), 0, -1):
        try:
            found: Any = importlib.import_module(".".join(parts[:i]))
        except ModuleNotFoundError:
            continue
        for part in parts[i:]:
            found = getattr(found, part)
        return
    pytest.fail(f"no {name}")


@pytest.mark.parametrize("step", STEPS)
def test_each_step_has_its_page_with_all_its_parts(step: str) -> None:
    text = (DOCS / "manual" / f"{step}.md").read_text(encoding="utf-8")
    for heading in ("What happens", "Equations", "Sources", "Worked example"):
        assert f"## {heading}" in text, heading
    assert "not good for" in text
    assert "ssumptions" in text
    assert f"]({step}.md)" in (DOCS / "manual" / "index.md").read_text(encoding="utf-8")


_WORDS = re.compile(r"\\(?:text|mathrm|quad|qquad|left|right|dfrac|frac|sqrt|sum|int|min|max|log|ln|exp|arg|partial|cdot|le|ge|circ"
                    r"|dot|hat|bar|in|infty|begin|end|mathbf)\b(?:\{[^}]*\})?")  # fmt: skip
_COMPOUNDS = {
    "Cu",
    "Fe",
    "SiO",
    "Al",
    "CaO",
    "MgO",
    "PbO",
    "Na",
    "K",
    "FeO",
    "O",
    "SO",
    "S",
    "Im",
    "LHV",
    "HHV",
    "VR",
}


def _symbols(formula: str) -> set[str]:
    """Greek letters and Latin letters that stand for something, without their indices."""
    bare = re.sub(r"\\(?:text|mathrm)\{[^}]*\}|\^\{?\\circ\}?", " ", formula)
    bare = re.sub(r"[_^]\{(?:[^{}]|\{[^{}]*\})*\}|[_^][A-Za-z0-9]", " ", bare)
    greek = re.findall(
        r"\\(alpha|beta|gamma|Delta|epsilon|eta|theta|lambda|mu|nu|xi|sigma|tau|chi|rho|phi)\b", bare
    )
    rest = re.sub(r"\\[A-Za-z]+", " ", bare)
    words = [word for word in re.findall(r"[A-Za-z]+", rest) if word not in _COMPOUNDS]
    return {f"\\{name}" for name in greek} | {
        letter for word in words if len(word) <= 2 for letter in word if letter != "d"
    }


def test_each_symbol_has_its_line() -> None:
    nomenclature = (DOCS / "manual" / "nomenclature.md").read_text(encoding="utf-8")
    known = set(re.findall(r"^\| \$(\\?\w+)\$ \|", nomenclature, re.MULTILINE))
    used: set[str] = set()
    for page in PAGES:
        text = re.sub(r"```.*?```", "", page.read_text(encoding="utf-8"), flags=re.DOTALL)
        if page.stem != "nomenclature":
            used |= {
                s for formula in re.findall(r"\$\$(.+?)\$\$", text, re.DOTALL) for s in _symbols(formula)
            }
    assert len(used) > 40
    assert used <= known, sorted(used - known)


@pytest.mark.parametrize("page", EVERY, ids=lambda page: page.stem)
def test_links_of_a_page_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#\s]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
        assert "://" in target or (page.parent / target).exists(), target


def test_examples_of_a_page_print_what_stands_there() -> None:
    """Of the others ``docs/build.py`` writes what they print anew."""
    from examples import filled

    text = (DOCS / "manual" / "acid_plant.md").read_text(encoding="utf-8")
    assert filled(text) == text
