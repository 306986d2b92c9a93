"""From an assay to minerals whose enthalpies are known, every assayed element conserved.

The assay fixes the elements; oxygen, hydrogen and the carbon of carbonates follow from the minerals, that
of carbonates where there is no line for CO2. Minerals are chosen
by non-negative weighted least squares: elements carry a large weight, measured minerals a strong pull to
their measured amounts, and every candidate a small cost by which the usual one is preferred (common
practice: copper first to chalcopyrite, sulfur left over to pyrite, iron left over to magnetite). What no
usual mineral explains stands as the plain oxide, or as native sulfur, of that element: the remainder.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import BoolN, FloatN, FloatNM, Floats, zeros
from pyrobal.numerics.least_squares import nonnegative
from pyrobal.streams.assay import AS_SUCH, FITTED, TRACES, Lines, element_share, read, stated
from pyrobal.thermo.elements import ATOMIC_MASS, ELEMENTS, composition
from pyrobal.thermo.properties import Species, species
from pyrobal.trace.solved import remembered

# Trade name -> substance, for [concentrate.minerals].
MINERALS = {
    "chalcopyrite": "CuFeS2", "bornite": "Cu5FeS4", "chalcocite": "Cu2S", "covellite": "CuS",
    "enargite": "Cu3AsS4", "cuprite": "Cu2O", "tenorite": "CuO", "pyrite": "FeS2", "pyrrhotite": "FeS",
    "magnetite": "Fe3O4", "hematite": "Fe2O3", "siderite": "FeCO3", "arsenopyrite": "FeAsS",
    "galena": "PbS", "sphalerite": "ZnS", "greenockite": "CdS", "rhodochrosite": "MnCO3", "rutile": "TiO2",
    "molybdenite": "MoS2", "millerite": "NiS",
    "pentlandite": "Fe4.5Ni4.5S8", "bismuthinite": "Bi2S3", "stibnite": "Sb2S3", "quartz": "SiO2",
    "corundum": "Al2O3", "kaolinite": "Al2Si2O5(OH)4", "muscovite": "KAl3Si3O10(OH)2",
    "microcline": "KAlSi3O8", "albite": "NaAlSi3O8", "talc": "Mg3Si4O10(OH)2", "calcite": "CaCO3",
    "magnesite": "MgCO3", "dolomite": "CaMg(CO3)2", "anhydrite": "CaSO4", "anglesite": "PbSO4",
    "sulfur": "S", "graphite": "C",
}  # fmt: skip
MINERAL_NAMES = tuple(MINERALS)

# Plain form of each element where no usual mineral explains it, and what a kilogram of it costs.
REMAINDER = {
    "Cu": "Cu2O", "Fe": "Fe2O3", "S": "S", "Si": "SiO2", "Al": "Al2O3", "Ca": "CaO", "Mg": "MgO",
    "K": "K2O", "Na": "Na2O", "As": "As2O3", "Sb": "Sb2O3", "Bi": "Bi2O3", "Pb": "PbO", "Zn": "ZnO",
    "Cd": "CdO", "Mn": "MnO", "Ti": "TiO2", "Ni": "NiO", "Mo": "MoO3", "C": "C",
}  # fmt: skip
_REMAINDER_COST = 0.8
_MINOR_SULFIDES = {"PbS": 0.0, "ZnS": 0.0, "CdS": 0.0, "MoS2": 0.0, "Bi2S3": 0.0, "Sb2S3": 0.0}
_SILICATES = {
    "SiO2": 0.0, "KAl3Si3O10(OH)2": 0.01, "NaAlSi3O8": 0.01, "Al2Si2O5(OH)4": 0.03, "KAlSi3O8": 0.03,
    "Mg3Si4O10(OH)2": 0.04, "TiO2": 0.0,
}  # fmt: skip
_CARBONATES = {"CaCO3": 0.02, "CaMg(CO3)2": 0.02, "MgCO3": 0.05, "MnCO3": 0.02, "FeCO3": 0.3}
# Candidates of each kind of material and their cost per kilogram: the lower, the sooner it is taken.
CANDIDATES: dict[str, dict[str, float]] = {
    "concentrate": {
        "CuFeS2": 0.0, "FeS2": 0.02, "Cu5FeS4": 0.02, "Cu2S": 0.06, "CuS": 0.10, "FeS": 0.10, "Fe3O4": 0.06,
        "Cu3AsS4": 0.0, "FeAsS": 0.5, "Fe4.5Ni4.5S8": 0.02, "NiS": 0.05, **_MINOR_SULFIDES,
        **_SILICATES, **_CARBONATES,
    },
    "flux": {
        "FeS2": 0.02, "CuFeS2": 0.02, "Fe2O3": 0.0, "Fe3O4": 0.05, "CaO": 0.0, "MgO": 0.02, "MnO": 0.02,
        **_MINOR_SULFIDES,
        **_SILICATES,
    },
    "matte": {
        "Cu2S": 0.0, "FeS": 0.0, "Cu": 0.05, "Fe3O4": 0.05, "FeO": 0.04, "CuS": 0.3, "FeS2": 0.3, "NiS": 0.0,
        **_MINOR_SULFIDES, "Fe2SiO4": 0.02, "SiO2": 0.0, "Al2O3": 0.0, "CaO": 0.0, "MgO": 0.0,
        "MnO": 0.0, "TiO2": 0.0,
    },
    "slag": {
        "Fe2SiO4": 0.0, "Fe3O4": 0.04, "FeO": 0.03, "Cu2S": 0.0, "Cu2O": 0.03, "FeS": 0.02, "ZnO": 0.0,
        "PbO": 0.0, "NiO": 0.0, "CaSiO3": 0.0, "Mg2SiO4": 0.0, "SiO2": 0.0, "Al2O3": 0.0, "CaO": 0.02,
        "MgO": 0.02, "MnO": 0.0, "TiO2": 0.0, "CdO": 0.0,
    },
    "dust": {
        "CuSO4": 0.0, "Cu2O": 0.0, "Fe3O4": 0.0, "PbSO4": 0.0, "ZnO": 0.0, "As2O3": 0.0, "Cu2S": 0.01,
        "CuFeS2": 0.02, "SiO2": 0.0, "Al2O3": 0.0, "CaO": 0.0, "MgO": 0.0, "Sb2O3": 0.0, "Bi2O3": 0.0,
        "CdO": 0.0, "MnO": 0.0, "TiO2": 0.0,
    },
    "copper_scrap": {"Cu": 0.0, "Cu2O": 0.02, "Fe": 0.02, "Cu2S": 0.0, "Fe3O4": 0.05, "SiO2": 0.0},
}  # fmt: skip

_ELEMENT_WEIGHT = 1e6  # square of the weight of an element's balance against unit cost per kilogram
_MEASURED_WEIGHT = 1e2  # pull of a measured mineral to its measured amount
_SPREAD = 1e-3  # curvature that makes the answer unique where two minerals cost the same
MOST_OVER = 0.03  # implied oxygen and carbonate may lift the sum of minerals this far above 100 %
MOST_NATIVE_SULFUR = 0.005  # above this share the sulfur is not explained
MOST_CARBON_LEFT = 0.001  # above this share the CO2 is not explained


@dataclass(frozen=True)
class MineralFit:
    """What one dry material is made of.

    phase : the S axis; x : (N, S) [kg/kg] of dry material, Rest making up what the assay leaves open
    remainder : element -> (N,) [kg/kg] standing in plain form
    total : (N,) [kg/kg] sum of minerals before the rest
    ok : (N,) False where no mineral set explains the assay
    """

    phase: Species
    x: Floats
    remainder: dict[str, FloatN]
    total: FloatN
    ok: BoolN

    @property
    def elements(self) -> Floats:
        """(N, E) [kg/kg] of dry material."""
        return self.x @ _mass_fractions(self.phase)

    @property
    def misfit(self) -> FloatN:
        """(N,) [kg/kg] root of the summed squares of the remainders."""
        return np.sqrt(sum((value**2 for value in self.remainder.values()), np.zeros(len(self.x))))


def fit(assay: Lines, kind: str, minerals: Lines | None = None, insol: Lines | None = None) -> MineralFit:
    """Minerals of a material from its assay.

    assay : name -> (N,) [kg per kg dry], names out of ``assay.ASSAY_NAMES``
    kind : a key of CANDIDATES
    minerals : trade name -> (N,) [kg per kg dry], measured, honoured as far as the elements allow; where the
        assay has no line that minerals could explain, they alone make up the material
    insol : see ``assay.stated``
    """
    measured = {MINERALS[name]: value for name, value in (minerals or {}).items()}
    lines = stated(assay, insol)
    fixed, elements = read(lines)
    alone = bool(measured) and not elements and not fixed
    if alone:
        x, solved = np.stack(np.broadcast_arrays(*measured.values()), axis=1), np.ones(1, dtype=bool)
        return _complete(species(*measured, *TRACES, "Rest"), x, lines, {}, solved)
    c = _choice(kind, tuple(lines), tuple(measured), tuple(elements))
    x, solved = _fit(c, elements, measured)
    remainder = {element: x[:, i] * element_share(c.names[i], element) for element, i in c.remainder.items()}
    for name, value in fixed.items():
        x = x + value[:, None] * (np.array(c.names) == name)
    return _complete(c.phase, x, lines, remainder, solved)


@dataclass(frozen=True, eq=False)
class _Choice:
    """What minerals there are to choose from where an assay has certain lines; numbers of the fit.

    names : (M,) of the minerals; phase : the S axis, they first; elements : (R,) that are fitted
    share : (M, R) [kg/kg] of each element in each mineral
    cost, pull : (M,); Q : (M, M), see ``numerics.least_squares``
    plain : (P,) [row, mineral] of each element that has a plain form among them
    remainder : element -> its plain form, where that is nothing usual
    """

    names: tuple[str, ...]
    phase: Species
    elements: tuple[str, ...]
    share: Floats
    cost: Floats
    pull: Floats
    Q: Floats
    plain: list[tuple[int, int]]
    remainder: Mapping[str, int]


@remembered(maxsize=256)
def _choice(
    kind: str, lines: tuple[str, ...], measured: tuple[str, ...], elements: tuple[str, ...]
) -> _Choice:
    names = _candidates(kind, lines, measured)
    phase = species(*names, *TRACES, "Rest")
    rows = tuple(e for e in FITTED if e != "C" or "C" in elements)
    share = _mass_fractions(phase)[: len(names), [ELEMENTS.index(e) for e in rows]]
    is_measured = np.array([name in measured for name in names])
    pull = np.where(is_measured, _MEASURED_WEIGHT, _SPREAD)
    plain = {e: names.index(name) for e, name in REMAINDER.items() if name in names}
    usual = (*CANDIDATES[kind], *measured)
    return _Choice(
        names,
        phase,
        rows,
        share,
        cost=np.where(is_measured, 0.0, [_cost(name, kind) for name in names]),
        pull=pull,
        Q=_ELEMENT_WEIGHT * share @ share.T + np.diag(pull),
        plain=[(i, plain[e]) for i, e in enumerate(rows) if e in plain],
        remainder={e: i for e, i in plain.items() if names[i] not in usual},
    )


def _candidates(kind: str, lines: tuple[str, ...], measured: tuple[str, ...]) -> tuple[str, ...]:
    present = {e for name in (*lines, *measured) for e in composition(name)} | {"O", "H", "C"}
    carbonates = _CARBONATES if "CO2" in lines else ()
    names = [
        *CANDIDATES[kind],
        *carbonates,
        *measured,
        *REMAINDER.values(),
        *(n for n in AS_SUCH if n in lines),
    ]
    return tuple(n for n in dict.fromkeys(names) if set(composition(n)) <= present)


def _mass_fractions(phase: Species) -> Floats:
    """(S, E) [kg element per kg substance]."""
    return phase.composition * ATOMIC_MASS / phase.molar_mass[:, None]


def _fit(c: _Choice, elements: dict[str, FloatN], measured: Lines) -> tuple[FloatNM, BoolN]:
    n = max(v.shape[0] for v in (*elements.values(), *measured.values(), np.zeros(1)))
    b = zeros((n, len(c.elements)), *elements.values())
    for element, value in elements.items():
        b[:, c.elements.index(element)] = value
    target = zeros((n, len(c.names)), *measured.values())
    for name, value in measured.items():
        target[:, c.names.index(name)] = value
    x, solved = nonnegative(c.Q, _ELEMENT_WEIGHT * b @ c.share.T + c.pull * target - c.cost)
    present, plain = [row for row, _ in c.plain], [mineral for _, mineral in c.plain]
    return _close(x, c.share[:, present], b[:, present], plain), solved


def _cost(name: str, kind: str) -> float:
    if name == "C":
        return 10.0  # the carbon that is fitted is that of carbonates
    return CANDIDATES[kind].get(name, _CARBONATES.get(name, _REMAINDER_COST))


def _close(x: FloatNM, a: Floats, b: Floats, plain: list[int]) -> FloatNM:
    """Make the elements exact without turning any mineral negative.

    First the least change, in proportion to what is there, dx = D a (a' D a)^-1 (b - a'x) with D = diag(x).
    What no mixture of the minerals present can meet is round-off of the fit: a mineral shrinks until none of
    its elements is over, and the plain form of each element (column ``plain``) takes up what is missing.
    """
    for _ in range(3):
        carried = np.where(x > 1e-9, x, 0.0)[:, :, None] * a
        normal = np.swapaxes(carried, 1, 2) @ a
        ridge = 1e-13 * np.trace(normal, axis1=1, axis2=2)[:, None, None] + 1e-300
        gap = b - x @ a
        x = x + (carried @ np.linalg.solve(normal + ridge * np.eye(a.shape[1]), gap[:, :, None]))[:, :, 0]
        x = np.maximum(x, 0.0)
    held = x @ a
    over = np.minimum(np.divide(b, held, out=np.ones_like(held), where=held > 0), 1.0)
    x = x * np.where(a > 0, over[:, None, :], 1.0).min(axis=2)
    x[:, plain] += np.maximum(b - x @ a, 0.0) / a[plain, np.arange(len(plain))]
    return x


def _complete(
    phase: Species,
    x: FloatNM,
    lines: Lines,
    remainder: dict[str, FloatN],
    solved: BoolN,
) -> MineralFit:
    traces = {name: lines[name] for name in TRACES if name in lines}
    n = max(len(v) for v in (x, *lines.values()))
    full = zeros((n, len(phase)), x, *traces.values())
    full[:, : x.shape[1]] = x
    for name, value in traces.items():
        full[:, phase.index(name)] = value
    total = full.sum(axis=1)
    full[:, -1] = np.maximum(1.0 - total, 0.0)
    sulfur, carbon = (remainder.get(element, np.zeros(1)) for element in ("S", "C"))
    ok = solved & (total <= 1.0 + MOST_OVER) & (sulfur <= MOST_NATIVE_SULFUR) & (carbon <= MOST_CARBON_LEFT)
    return MineralFit(phase, full, remainder, total, ok)
