"""Smelting: from charge, blast and targets to streams of matte, slag, gas and dust, and their ledger."""

from __future__ import annotations

import functools
import operator
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import BoolN, FloatN, FloatNS, Floats, IntN, column, zeros
from pyrobal.errors import Reason
from pyrobal.numerics.newton import Roots
from pyrobal.plant.smelting import melt as m_
from pyrobal.plant.smelting.blast import Blast
from pyrobal.plant.smelting.deportment import OUTLETS, carriers, phases, returned, taken_up
from pyrobal.plant.smelting.equilibrium import Constants, Potentials, magnetite_fraction
from pyrobal.plant.smelting.furnace import (
    COLDEST,
    HOTTEST,
    LEAN,
    RICH,
    SHIFT,
    Allotments,
    Charge,
    Furnace,
    converge,
    furnace,
    start,
)
from pyrobal.plant.smelting.matte import M_CU2S, M_FES
from pyrobal.plant.smelting.melt import Heat, Melt, Unknowns
from pyrobal.plant.smelting.settings import SmeltingSettings
from pyrobal.streams.fuel import Fuel
from pyrobal.streams.ledger import Entry, Ledger
from pyrobal.streams.material import Material
from pyrobal.streams.mixing import on_phase, temperature
from pyrobal.streams.site import AIR_SPECIES, OXYGEN_IN_AIR, SiteSettings, air_species
from pyrobal.streams.stream import Stream
from pyrobal.thermo.elements import ELEMENTS


@dataclass(frozen=True, eq=False)
class SmeltingResult:
    """One furnace balance per scenario; every array (N,) or (N, S).

    charge : what was put in
    matte, slag, gas, dust : as they leave, at their temperatures; dust before any is put back
    blast, leak : dry gas with its moisture as blown and as drawn in
    melt, heat, unknowns, potentials : the converged state behind the streams
    reason : (N,) errors.Reason; iterations, residual, root : of the solver
    """

    charge: Charge
    settings: SmeltingSettings
    matte: Stream
    slag: Stream
    gas: Stream
    dust: Stream
    blast: Stream
    leak: Stream
    silica_flux: FloatN  # [kg/s] wet, as fed
    lime_flux: FloatN  # [kg/s] wet, as fed
    unit_fuel: Fuel
    melt: Melt
    heat: Heat
    unknowns: Unknowns
    constants: Constants
    potentials: Potentials
    heat_loss: FloatN
    reason: IntN
    iterations: IntN
    residual: FloatN
    root: Roots

    @functools.cached_property
    def ledger(self) -> Ledger:
        """Drawn up when first asked for."""
        s, charge, u, h = self.settings, self.charge, self.unknowns, self.heat
        back = {name: material.entry for name, material in charge.returns.items()}
        inputs = {"charge": functools.reduce(operator.sub, back.values(), charge.material.entry), **back}
        if charge.silica is not None:
            inputs["silica_flux"] = charge.silica.entry.scaled(u.silica)
        if charge.lime is not None:
            inputs["lime_flux"] = charge.lime.entry.scaled(u.lime)
        elements, enthalpy = self.unit_fuel.slagged(s.fuel_ash_to_slag)
        inputs["fuel"] = Entry(elements, enthalpy, enthalpy).scaled(h.fuel)
        inputs["blast"], inputs["in_leakage"] = Entry.of(self.blast), Entry.of(self.leak)
        inputs["returned_dust"] = _cold(self.dust_returned)
        inputs["cold_charge"] = _cold(self.matte).scaled(h.cold_charge / (1.0 + h.cold_charge))
        leaving = {"matte": self.matte, "slag": self.slag, "gas": self.gas, "dust": self.dust}
        outputs = {name: Entry.of(stream) for name, stream in leaving.items()}
        if (s.dust_return * s.dust_sulfation).any():
            part = Entry.of(self.gas_taken_up)
            outputs |= {"gas": outputs["gas"] - part, "gas_taken_up_by_dust": part}
        return Ledger(inputs, outputs, {"loss": self.heat_loss, "surplus": h.surplus})

    @property
    def dust_returned(self) -> Stream:
        """The dust put back, its oxides part sulfate, ash of the fuel left out."""
        return returned(self._dust_of_charge, self.settings)

    @property
    def gas_taken_up(self) -> Stream:
        """What the dust put back has taken from the gas behind the furnace: SO2 and O2 of its sulfates."""
        return taken_up(self._dust_of_charge, self.settings, self.gas.T)

    @property
    def _dust_of_charge(self) -> FloatNS:
        n = self.dust.n.copy()
        n[:, self.dust.phase.index("Rest")] -= self.heat.fuel * _ash_blown(self.unit_fuel, self.settings)
        return n

    @property
    def matte_made(self) -> Stream:
        """The matte that goes on: what is put back cold is not in it."""
        return self.matte.scaled(1.0 / (1.0 + self.heat.cold_charge))

    @property
    def magnetite_equilibrium_share(self) -> FloatN:
        """(N,) local equilibrium magnetite over the magnetite in the slag, by mole."""
        n = self.melt.slag_moles
        equal = magnetite_fraction(self.constants, self.potentials, self.melt.supply.silica_moles / n)
        return equal / (self.melt.fe3o4 / n)

    @property
    def oxygen_for_fuel(self) -> FloatN:
        """(N,) [mol/s] O2 blown for the fuel, excess included."""
        return self.heat.fuel * self.unit_fuel.oxygen * (1.0 + self.settings.fuel_excess_air)

    @property
    def enrichment(self) -> FloatN:
        """(N,) [mol/mol] O2 in the dry process gas."""
        oxygen = self.melt.oxygen_demand + self.oxygen_for_fuel
        return oxygen / (self.heat.air + self.heat.industrial)


def _ash_blown(fuel: Fuel, s: SmeltingSettings) -> FloatN:
    """(N,) [mol per unit] of the fuel's ash that leaves as dust."""
    return fuel.count("Rest") * (1.0 - s.fuel_ash_to_slag)


def solve(
    charge: Charge, site: SiteSettings, s: SmeltingSettings, fuel: Fuel, near: Roots | None = None
) -> SmeltingResult:
    """Balance the furnace; ``near`` is the ``root`` of a balance close by, to seek from.

    The unknowns (slag, fluxes, magnetite, oxidic copper, dissolved sulfur and, where asked for, grade or
    temperature) satisfy targets and equilibria by batched Newton; conservation holds at any guess.
    Scenarios that cannot be solved carry a reason and do not disturb the others.

    References: Davenport, King, Schlesinger & Biswas 2002, Extractive Metallurgy of Copper, 4th ed.,
    chapters on matte smelting and on the mathematical description of smelting; correlations as named in
    ``thermo.solutions``.
    """
    with np.errstate(all="ignore"):  # scenarios without an answer carry nan; their reason says why
        problem, allotments = furnace(charge, site, s, fuel)
        roots = converge(problem, near)
        bath, u, m, h = problem.state(roots.z)
        reason = _reasons(problem, roots.z, roots.converged, m, h)
        return _assemble(problem, charge, allotments, roots, (bath, u, m, h), reason)


def _assemble(
    f: Furnace,
    charge: Charge,
    allotments: Allotments,
    roots: Roots,
    state: tuple[m_.Bath, Unknowns, Melt, Heat],
    reason: IntN,
) -> SmeltingResult:
    bath, u, m, h = state
    s = f.s
    _, shift = f.unknowns(roots.z)
    settled = _settled(allotments, f, u, m)
    matte = _stream("matte", settled["matte"], m.matte, s.matte_temperature + shift)
    matte = matte.scaled(1.0 + h.cold_charge)
    in_slag = m.slag
    for name, per_unit in bath.fuel.ash.items():
        if name != "FeO(slag)":  # it is in the FeO of the melt
            in_slag[name] = in_slag.get(name, np.zeros(1)) + h.fuel * per_unit
    slag = _stream("slag", settled["slag"], in_slag, s.slag_temperature + shift)
    blown, leak = _gases(bath.blast, h)
    drawn = Stream(air_species(), leak, f.site.air_temperature)
    gas = _stream("gas", settled["gas"], _gas_solved(f, m, h, blown, leak), s.gas_temperature + shift)
    if s.in_leakage_enters == "after_uptake":
        gas = _cooled(gas, drawn)
    blown_ash = {"Rest": h.fuel * _ash_blown(f.fuel, s)}
    dust = _stream("dust", settled["dust"], blown_ash, s.gas_temperature)
    blast = Stream(air_species(), blown, s.blast_temperature)
    dry = (reason == Reason.SOLVED) & (gas.amount("H2O(g)") < 0.0)
    reason = np.where(dry, Reason.GAS_SHORT_OF_WATER, reason)
    bare = (reason == Reason.SOLVED) & (slag.amount("Rest(slag)") < 0.0) & (m.matte_other > 0.0)
    reason = np.where(bare, Reason.MATTE_OTHER_BEYOND_CHARGE, reason)
    wet = [_wet(c, rate) for c, rate in ((charge.silica, u.silica), (charge.lime, u.lime))]
    return SmeltingResult(
        charge, s, matte, slag, gas, dust, blast, drawn, wet[0], wet[1], f.fuel, m, h, u, bath.constants,
        m_.potentials(bath, m, h), bath.heat_loss, reason, roots.iterations, roots.residual, roots,
    )  # fmt: skip


def _settled(allotments: Allotments, f: Furnace, u: Unknowns, m: Melt) -> dict[str, FloatNS]:
    """Outlet -> (N, S) what was settled in advance, of charge and fluxes, and the minor elements by ratio."""
    charge, silica, lime = allotments
    if silica is not None:
        charge = charge.plus(silica, u.silica)
    if lime is not None:
        charge = charge.plus(lime, u.lime)
    found = charge.streams()
    if f.bath.minors is None:
        return found
    index = [ELEMENTS.index(e) for e in f.bath.minors.elements]
    amounts = f.bath.minors.amounts(u.seen(m.matte_mass))
    return {o: found[o] + amounts[o] @ carriers(o)[index] for o in OUTLETS}


def _stream(outlet: str, settled: FloatNS, solved: dict[str, FloatN], T: FloatN) -> Stream:
    """What was settled in advance and what was solved for, which may differ in what scenarios share."""
    phase = phases()[outlet]
    (n,) = np.broadcast_shapes(settled.shape[:1], T.shape, *(x.shape for x in solved.values()))
    amounts = zeros((n, len(phase.names)), settled, *solved.values())
    amounts[:] = settled
    for name, amount in solved.items():
        amounts[:, phase.index(name)] += amount
    return Stream(phase, amounts, T)


def _cooled(gas: Stream, drawn: Stream) -> Stream:
    """The gas with air (in it already) that is drawn in behind the furnace, at the temperature of the two."""
    taken_up = on_phase(drawn, gas.phase) * (gas.phase.enthalpy(gas.T) - gas.phase.enthalpy(drawn.T))
    return Stream(gas.phase, gas.n, temperature(gas.phase, gas.n, gas.enthalpy() - taken_up.sum(axis=1)))


def _gases(b: Blast, h: Heat) -> tuple[FloatNS, FloatNS]:
    """Blast as blown and air drawn in, (N, 5) [mol/s] on AIR_SPECIES."""
    blown = column(h.air) * b.air + column(h.industrial) * b.industrial
    return blown, column(h.air + h.industrial) * b.leak


def _gas_solved(f: Furnace, m: Melt, h: Heat, blown: FloatNS, leak: FloatNS) -> dict[str, FloatN]:
    """Sulfur dioxide, products of the fuel, what the blast brings but oxygen, and unused oxygen."""
    c, hydrogen, nitrogen, sulfur = (h.fuel * f.fuel.count(e) for e in ("C", "H", "N", "S"))
    through = blown + leak
    amounts = dict(zip(AIR_SPECIES, through.T, strict=True))
    unused = m.oxygen_demand - m.oxygen_reacted + h.fuel * f.s.fuel_excess_air * f.fuel.oxygen
    amounts["O2(g)"] = leak[:, 0] + unused
    amounts["CO2(g)"] = amounts["CO2(g)"] + c
    amounts["H2O(g)"] = amounts["H2O(g)"] + hydrogen / 2
    amounts["N2(g)"] = amounts["N2(g)"] + nitrogen / 2
    amounts["SO2(g)"] = m.so2 + sulfur
    return amounts


def _wet(flux: Material | None, dry_rate: FloatN) -> FloatN:
    """(N,) [kg/s] of flux with its water."""
    if flux is None:
        return np.zeros_like(dry_rate)
    return dry_rate * (1.0 + flux.water / flux.dry_mass)


def _cold(stream: Stream) -> Entry:
    """A stream at 25 degC, every compound in its standard state."""
    formation = stream.formation_heat()
    return Entry(stream.elements(), formation, formation)


def _reasons(f: Furnace, z: Floats, converged: BoolN, m: Melt, h: Heat) -> IntN:
    """Why a scenario has no answer; the first limit in the list that is broken is named."""
    reason = _impossible(f.s, m, np.array(Reason.SOLVED))
    if not converged.all():  # why not takes as long as the start of the search
        reason = np.where(converged, reason, _unsolved(f, m))
    if "grade" in f.names:  # then it is the oxygen that was asked for
        for grade, oxygen in _BY_OXYGEN.items():
            reason = np.where(reason == grade, oxygen, reason)
    good = reason == Reason.SOLVED
    T = f.s.slag_temperature + f.unknowns(z)[1]
    y, free = f.s.enrichment, f.s.close_heat_with == "enrichment"
    checks = (
        (h.surplus < 0 if free else y > f.s.oxygen_purity, Reason.ENRICHMENT_ABOVE_PURITY),
        (h.surplus > 0 if free else y < OXYGEN_IN_AIR, Reason.ENRICHMENT_BELOW_AIR),
        (h.needs_fuel_in_vain, Reason.FUEL_CANNOT_HEAT),
        ((T < COLDEST) | (T > HOTTEST), Reason.TEMPERATURE_OUT_OF_REACH),
    )
    for broken, why in checks:
        reason = np.where(good & (reason == Reason.SOLVED) & broken, why, reason)
    return reason.astype(np.int64)


def _unsolved(f: Furnace, m: Melt) -> Floats:
    """Why Newton found nothing, as far as the stoichiometric guess, and where it stopped, show it."""
    z = start(f)
    u, shift = f.unknowns(z)
    spent = m.fes * M_FES < IRON_SULFIDE_SPENT * m.matte_mass
    otherwise = np.where(spent, Reason.GRADE_LEAVES_NO_IRON_SULFIDE, Reason.NOT_CONVERGED)
    reason = _impossible(f.s, m_.melt(f.bath, u), otherwise)
    if "grade" in f.names:
        reason = np.where(u.grade > RICH - 0.01, Reason.OXYGEN_BEYOND_MATTE, reason)
        reason = np.where(u.grade < LEAN + 0.01, Reason.OXYGEN_SHORT_OF_MATTE, reason)
    if "shift" in f.names:
        T = f.s.slag_temperature + shift
        at_the_end = (T < COLDEST + 0.1 * SHIFT) | (T > HOTTEST - 0.1 * SHIFT)
        reason = np.where(at_the_end, Reason.TEMPERATURE_OUT_OF_REACH, reason)
    return reason


# Share of the matte: with less FeS the oxygen potential, and the copper in the slag, rise without bound.
IRON_SULFIDE_SPENT = 0.01
ROUND_OFF = 1e-9  # of the matte, by mole: an assay that adds up to the whole may miss it by so much
_BY_OXYGEN = {
    Reason.GRADE_LEAVES_NO_IRON_SULFIDE: Reason.OXYGEN_BEYOND_MATTE,
    Reason.GRADE_BELOW_CHARGE: Reason.OXYGEN_SHORT_OF_MATTE,
    Reason.NEGATIVE_OXYGEN: Reason.OXYGEN_SHORT_OF_MATTE,
}


def _impossible(s: SmeltingSettings, m: Melt, otherwise: Floats) -> Floats:
    own = s.matte_iron is not None or s.matte_sulfur is not None
    nil = -ROUND_OFF * m.matte_mass.real / M_CU2S
    unbound = own & ((m.matte_copper < nil) | (m.matte_fe3o4 < nil))
    spent = own & (m.fes < nil) & ((m.matte_other > 0) | (s.matte_sulfur is not None))
    above = own & ((m.matte_other < nil) | (m.cu2s < nil) | (m.fes < nil))
    return np.select(
        [unbound, spent, above, m.fes <= 0, m.matte_mass <= 0, m.feo <= 0, m.so2 <= 0, m.oxygen_reacted <= 0],
        [
            Reason.MATTE_SULFUR_UNBOUND,
            Reason.MATTE_WITHOUT_IRON_SULFIDE,
            Reason.MATTE_ABOVE_WHOLE,
            Reason.GRADE_LEAVES_NO_IRON_SULFIDE,
            Reason.GRADE_BELOW_CHARGE,
            Reason.GRADE_BELOW_CHARGE,
            Reason.NO_SULFUR_LEFT,
            Reason.NEGATIVE_OXYGEN,
        ],
        otherwise,
    )
