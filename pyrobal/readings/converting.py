"""Readings of converting, and of the cycle behind it where it is batch."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from pyrobal.arrays import FloatN
from pyrobal.flowsheet.results import Results
from pyrobal.plant.converting import ConvertingResult
from pyrobal.plant.converting.result import Cycle
from pyrobal.readings.assay import element_share, gas_share, present_elements, slag_assay, slag_members
from pyrobal.readings.heat import heat_in, heat_in_items, heat_out, heat_out_items
from pyrobal.readings.reading import Reading
from pyrobal.streams.stream import Stream
from pyrobal.thermo.acid_solution import M_SO2

KINDS = ("batch", "continuous")


@dataclass(frozen=True)
class _OfKind(Reading):
    """A reading that only some kinds of converting have."""

    kinds: tuple[str, ...] = KINDS
    needs: str = "converting"

    def present(self, results: Results) -> bool:
        return super().present(results) and converting(results).settings.kind in self.kinds


def converting(r: Results) -> ConvertingResult:
    """The converting of a case that has it."""
    assert r.converting is not None
    return r.converting


def cycle(r: Results) -> Cycle:
    """The cycle of batch converting."""
    found = converting(r).cycle
    assert found is not None
    return found


def stage_so2(r: Results, stage: str) -> FloatN:
    """(N,) [mol/mol] SO2 in the wet gas at the mouth, over all blows of one kind."""
    course = cycle(r).course
    of_stage = course.duration * course.columns(stage)
    return (course.so2 * of_stage).sum(axis=1) / (course.gas * of_stage).sum(axis=1)


def _of(outlet: str, compute: Callable[[Stream], FloatN]) -> Callable[[Results], FloatN]:
    return lambda r: compute(_stream(r, outlet))


def _stream(r: Results, outlet: str) -> Stream:
    stream: Stream = getattr(converting(r), outlet)
    return stream


def _members(outlet: str) -> Callable[[Results], Sequence[str]]:
    return lambda r: present_elements(_stream(r, outlet))


def _element(outlet: str) -> Callable[[Results, str], FloatN]:
    return lambda r, element: element_share(_stream(r, outlet), element)


def _share(element: str) -> Callable[[Stream], FloatN]:
    return lambda stream: element_share(stream, element)


def _dry(gas: Stream) -> FloatN:
    return gas.total() - gas.amount("H2O(g)")


def _so2(gas: Stream) -> FloatN:
    return gas.amount("SO2(g)") * M_SO2


def _blast(r: Results) -> FloatN:
    return converting(r).air + converting(r).industrial


def _fe_sio2(slag: Stream) -> FloatN:
    return element_share(slag, "Fe") / slag_assay(slag, "SiO2")


def _time_in(stage: str) -> Callable[[Results], FloatN]:
    return lambda r: cycle(r).course.time_in(stage)


_ANY = functools.partial(_OfKind, kinds=KINDS)
_BATCH = functools.partial(_OfKind, kinds=("batch",))
_CONTINUOUS = functools.partial(_OfKind, kinds=("continuous",))
_GASES = {
    "gas": ("gas", "behind the hood, mean of the cycle"),
    "gas.mouth": ("mouth_gas", "before the hood, mean of the cycle"),
    "gas.peak": ("peak_gas", "behind the hood with most SO2, of all vessels that blow at once"),
}

READINGS = (
    _ANY("converting.matte.rate", "t/h", "matte that comes in", _of("matte", Stream.mass)),
    _ANY("converting.matte.grade", "wt%", "copper in that matte", _of("matte", _share("Cu"))),
    _ANY("converting.air", "Nm3/h", "air blown, dry", lambda r: converting(r).air),
    _ANY("converting.oxygen.industrial", "Nm3/h", "industrial oxygen blown, at its purity",
         lambda r: converting(r).industrial),
    _ANY("converting.oxygen.demand", "Nm3/h", "pure O2 in the blast",
         _of("blast", lambda x: x.amount("O2(g)"))),
    _ANY("converting.oxygen.reacted", "Nm3/h", "of which reacts", lambda r: converting(r).oxygen_reacted),
    _ANY("converting.blast", "Nm3/h", "air and industrial oxygen together, dry", _blast),
    _ANY("converting.enrichment", "vol%", "O2 in the dry blast, mean of the cycle",
         lambda r: converting(r).blast.amount("O2(g)") / _blast(r)),
    _ANY("converting.flux.silica", "t/h", "silica flux, wet as fed", lambda r: converting(r).silica_flux),
    _ANY("converting.flux.lime", "t/h", "lime flux, wet as fed", lambda r: converting(r).lime_flux),
    _ANY("converting.cold_charge", "t/h", "own cold matte and cold copper charged to hold the temperature",
         lambda r: converting(r).cold_matte + converting(r).cold_copper),
    _ANY("converting.cold_matte", "t/h", "own matte put in cold", lambda r: converting(r).cold_matte),
    _BATCH("converting.cold_copper", "t/h", "copper put in cold", lambda r: converting(r).cold_copper),
    _ANY("converting.coolant_capacity.matte", "t/h", "own cold matte that would hold the temperature",
         lambda r: converting(r).capacity_matte),
    _BATCH("converting.coolant_capacity.copper", "t/h",
           "cold copper that would hold it in the copper blow; negative: so much less is to be charged",
           lambda r: converting(r).capacity_copper),
    _ANY("converting.blister.rate", "t/h", "blister that leaves, recycled own copper not in it",
         _of("blister", Stream.mass)),
    _ANY("converting.blister.temperature", "degC", "blister poured", _of("blister", lambda x: x.T)),
    _ANY("converting.blister.copper", "wt%", "copper in the blister", _of("blister", _share("Cu"))),
    _ANY("converting.blister.sulfur", "wt%", "sulfur in the blister", _of("blister", _share("S"))),
    _ANY("converting.blister.oxygen", "wt%", "oxygen in the blister", _of("blister", _share("O"))),
    _ANY("converting.blister.assay.<X>", "wt%", "element in the blister",
         _element("blister"), _members("blister")),
    _ANY("converting.slag.rate", "t/h", "converter slag", _of("slag", Stream.mass)),
    _ANY("converting.slag.temperature", "degC", "converter slag, mixture of all that is skimmed",
         _of("slag", lambda x: x.T)),
    _ANY("converting.slag.copper", "wt%", "copper in the converter slag, all forms",
         _of("slag", _share("Cu"))),
    _ANY("converting.slag.magnetite", "wt%", "Fe3O4 in the converter slag",
         _of("slag", lambda x: slag_assay(x, "Fe3O4"))),
    _ANY("converting.slag.fe_sio2", "-", "mass ratio of total Fe to SiO2 in the converter slag",
         _of("slag", _fe_sio2)),
    _ANY("converting.slag.assay.<X>", "wt%", "oxide or element in that slag; Fe, Cu, S in every form",
         lambda r, name: slag_assay(converting(r).slag, name), lambda r: slag_members(converting(r).slag)),
    _ANY("converting.dust.rate", "t/h", "dust carried out", _of("dust", Stream.mass)),
    _ANY("converting.dust.assay.<X>", "wt%", "element in the dust", _element("dust"), _members("dust")),
    _ANY("converting.hood.air", "Nm3/h", "air drawn in at the hood, wet", _of("hood_air", Stream.total)),
    *(reading for key, (outlet, where) in _GASES.items() for reading in (
        _ANY(f"converting.{key}.flow_wet", "Nm3/h", f"gas {where}", _of(outlet, Stream.total)),
        _ANY(f"converting.{key}.flow_dry", "Nm3/h", "the same without water vapour", _of(outlet, _dry)),
        *(_ANY(f"converting.{key}.{name.lower()}", "vol%", f"{name} in that wet gas",
               _of(outlet, functools.partial(gas_share, name=name)))
          for name in ("SO2", "O2", "N2", "CO2", "H2O")),
        _ANY(f"converting.{key}.so2_dry", "vol%", "SO2 in the dry gas",
             _of(outlet, functools.partial(gas_share, name="SO2", dry=True))),
        _ANY(f"converting.{key}.so2_load", "t/h", "SO2 it carries", _of(outlet, _so2)),
        _ANY(f"converting.{key}.temperature", "degC", "its temperature", _of(outlet, lambda x: x.T)))),
    _BATCH("converting.cycle.time", "h", "one cycle of one vessel, pauses included", lambda r: cycle(r).time),
    _BATCH("converting.cycle.slag_blow_time", "min", "in slag blows", _time_in("slag blow")),
    _BATCH("converting.cycle.copper_blow_time", "min", "in the copper blow", _time_in("copper blow")),
    _BATCH("converting.cycle.rate", "1/h", "cycles begun in all vessels", lambda r: cycle(r).per_second),
    _BATCH("converting.cycle.matte", "t", "matte in one cycle, cold matte too", lambda r: cycle(r).matte),
    _BATCH("converting.cycle.blister", "t", "blister from one cycle", lambda r: cycle(r).blister),
    _BATCH("converting.cycle.vessels", "-", "vessels busy, on average", lambda r: cycle(r).vessels),
    _BATCH("converting.cycle.vessels_blowing", "-", "most vessels that blow at once, blows spread evenly",
           lambda r: cycle(r).blowing),
    _BATCH("converting.cycle.hottest", "degC", "hottest bath", lambda r: cycle(r).course.T.max(axis=1)),
    _BATCH("converting.cycle.coldest", "degC", "coldest bath", lambda r: cycle(r).course.T.min(axis=1)),
    _BATCH("converting.cycle.slag_blow_so2", "vol%", "SO2 in the wet gas at the mouth in slag blows",
           lambda r: stage_so2(r, "slag blow")),
    _BATCH("converting.cycle.copper_blow_so2", "vol%", "SO2 in the wet gas at the mouth in the copper blow",
           lambda r: stage_so2(r, "copper blow")),
    _CONTINUOUS("converting.oxygen_potential", "-", "log10 of the oxygen pressure in atm over the copper",
                lambda r: converting(r).log10_po2),
    _ANY("converting.heat.in.<X>", "MW", "reaction heat at 25 degC, sensible heat brought in",
         lambda r, item: heat_in(converting(r).ledger, item, {}),
         lambda r: heat_in_items(converting(r).ledger)),
    _ANY("converting.heat.out.<X>", "MW", "sensible heat carried out; lost by vessels, ladles, what froze",
         lambda r, item: heat_out(converting(r).ledger, item),
         lambda r: heat_out_items(converting(r).ledger)),
    _ANY("converting.heat.total", "MW", "all heat in", lambda r: converting(r).ledger.heat_total()),
    _CONTINUOUS("converting.heat.surplus", "MW", "heat surplus; negative where heat is short",
                lambda r: converting(r).surplus),
)  # fmt: skip
