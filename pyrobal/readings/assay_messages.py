"""What is said about an assay: what minerals cannot explain of it, and what was taken for granted."""

from __future__ import annotations

from collections.abc import Iterator

from pyrobal.constants import PERCENT
from pyrobal.flowsheet.results import Results
from pyrobal.plant.feed import ConcentrateSettings
from pyrobal.readings.message import Message
from pyrobal.readings.message import one as _one
from pyrobal.streams.assay import INSOL, INSOL_SPLIT, LOI, LOI_APART, loss_on_ignition, stated
from pyrobal.streams.mineralogy import MineralFit
from pyrobal.thermo.elements import ATOMIC_MASS_OF

_LISTED = 0.1 * PERCENT  # of the solids: less than this is not worth a word
_M = {e: float(m) for e, m in ATOMIC_MASS_OF.items()}
# Sulfur that binds a metal in the mineral that holds the least of it, mol/mol.
_LEAST_SULFUR = {"Cu": 0.5, "Fe": 1.0, "Zn": 1.0, "Pb": 1.0, "Cd": 1.0, "Ni": 1.0, "Co": 1.0}
_M_CO2 = _M["C"] + 2 * _M["O"]


def assay_messages(r: Results, i: int) -> Iterator[Message]:
    """Of every concentrate: what stands in no mineral, what does not add up, what was taken for granted."""
    for c in r.inputs.concentrate:
        fit, key = r.feed.fits[c.name], f"concentrate.{c.name}.assay"
        if _one(fit.misfit, i) > 1 * PERCENT:
            yield Message(
                "caution", key, f"{'; '.join(_apart(fit, i))}; check the assay, or give measured minerals"
            )
        total = _one(fit.total, i)
        if total > 1.005:
            yield Message("caution", key, _sum(total))
        if total < 0.93:
            left = f"{(1 - total) / PERCENT:.1f} % of this concentrate is not assayed"
            yield Message("caution", key, f"{left}; it is carried as inert rest to the slag")
        yield from _taken_for_granted(c, fit, key, i)


def impossible(r: Results, i: int) -> Iterator[Message]:
    """Which assays no set of minerals explains: what is short in them, what is beyond, and by how much."""
    for name, fit in r.feed.fits.items():
        if not _one(fit.ok, i):
            key = f"concentrate.{name}.assay" if name in r.feed.concentrates else f"{name}.assay"
            total = _one(fit.total, i)
            said = [*_apart(fit, i), *([_sum(total)] if total > 1.0 else [])]
            why = "; ".join(said) or "its elements cannot be met"
            yield Message("limit", key, f"no set of minerals explains the assay: {why}")


def _sum(total: float) -> str:
    return (
        f"its minerals, with the oxygen and carbonate they imply, sum to {total / PERCENT:.4g} %, "
        f"{(total - 1) / PERCENT:.2g} % beyond the whole"
    )


def _apart(fit: MineralFit, i: int) -> list[str]:
    """Elements short of what minerals need, and beyond what they allow."""
    left = {e: _one(share, i) for e, share in fit.remainder.items() if _one(share, i) > _LISTED}
    sulfur, carbon = left.pop("S", 0.0), left.pop("C", 0.0)
    said = []
    if left:
        listed = ", ".join(f"{x / PERCENT:.2g} % {e}" for e, x in left.items())
        short = sum(x / _M[e] * _LEAST_SULFUR.get(e, 0.0) for e, x in left.items()) * _M["S"]
        bind = f": S is {short / PERCENT:.2g} % short of binding it as sulfides" if short else ""
        said.append(f"{listed} is beyond what usual minerals hold, and is taken as oxide{bind}")
    if sulfur:
        iron = sulfur / (2 * _M["S"]) * _M["Fe"]
        beyond = f"S is {sulfur / PERCENT:.2g} % beyond what the metals bind in sulfide minerals"
        said.append(f"{beyond}, or Fe is {iron / PERCENT:.2g} % short of binding it as pyrite")
    if carbon:
        dioxide = carbon / _M["C"] * _M_CO2 / PERCENT
        said.append(f"CO2 is {dioxide:.2g} % beyond what Ca, Mg, Mn and Fe bind in carbonates")
    return said


def _taken_for_granted(c: ConcentrateSettings, fit: MineralFit, key: str, i: int) -> Iterator[Message]:
    if INSOL in c.assay and "SiO2" not in c.assay:
        split = {oxide: _one(x, i) for oxide, x in c.insol.items()} or INSOL_SPLIT
        own = "" if c.insol else f"; state your own in [concentrate.insol] of {c.name}"
        made = ", ".join(f"{x / PERCENT:.3g} % {oxide}" for oxide, x in split.items())
        yield Message("note", f"{key}.{INSOL}", f"insol is taken as {made}{own}")
    if LOI in c.assay:
        given, implied = _one(c.assay[LOI], i), _one(loss_on_ignition(fit.elements), i)
        if abs(given - implied) > LOI_APART:
            lost = f"{given / PERCENT:.1f} % is lost on ignition"
            other = (
                f"the other lines imply {implied / PERCENT:.1f} %, sulfur and carbon burnt, metals as oxides"
            )
            yield Message("caution", f"{key}.{LOI}", f"{lost}, but {other}; one of them is off")
    if INSOL in c.assay and "SiO2" in c.assay:
        silica = _one(stated(c.assay)["SiO2"], i)
        if _one(c.assay[INSOL], i) < silica * (1.0 - 5 * PERCENT):
            yield Message("caution", f"{key}.{INSOL}", "there is less insol than SiO2; one of them is off")
