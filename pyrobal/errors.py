"""What can go wrong, as one small tree.

    PyrobalError
    ├── CaseError       the case file or command line is wrong; carries every Fault (exit code 2)
    ├── DataError       a table in thermo_data/ is inconsistent (a defect of ours)
    └── NotSolved       one balance was asked for and it has no answer (exit code 1)

A failed scenario inside a batch raises nothing: it carries a ``Reason`` and its readings are NaN.
"""

from __future__ import annotations

import enum
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from pyrobal.names import printable

MOST_FAULTS: Final = 100
_ALLOWED: Final = "allowed: "
_LONG: Final = 40  # letters of a list that a person reads once


class PyrobalError(Exception):
    """Base of every error this package raises on purpose."""


@dataclass(frozen=True)
class Fault:
    """One thing wrong in a case: where it stands, what was found, what is allowed.

    file : name as the user gave it, "-" for standard input, "--set" for the command line
    line : 1-based, None where the fault has no line (a missing key)
    key : dotted path
    text : what was found, what is allowed, the nearest valid name

    None of them steers a terminal: a character that cannot be seen stands as its code.
    """

    file: str
    line: int | None
    key: str
    text: str

    def __post_init__(self) -> None:
        for name in ("file", "key", "text"):  # of which parts are the user's own words
            object.__setattr__(self, name, printable(getattr(self, name)))

    def __str__(self) -> str:
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        return f"{place}: {self.key}: {self.text}" if self.key else f"{place}: {self.text}"


class CaseError(PyrobalError):
    """All faults of one case at once, as many as a person would read."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(_each_list_once(faults[:MOST_FAULTS]))
        if len(faults) > MOST_FAULTS:
            more = f"only the first {MOST_FAULTS} errors are shown"
            self.faults += (Fault(faults[0].file, None, "", more),)
        super().__init__("\n".join(str(fault) for fault in self.faults))


def _each_list_once(faults: Iterable[Fault]) -> Iterator[Fault]:
    """The faults, with a long list of what is allowed where it is first needed only."""
    said = set()
    for fault in faults:
        text, _, allowed = fault.text.partition(_ALLOWED)
        yield replace(fault, text=f"{text}{_ALLOWED}as above") if allowed in said else fault
        if len(allowed) > _LONG:
            said.add(allowed)


class DataError(PyrobalError):
    """A thermochemical table has a gap, an overlap, an unbalanced formula or a missing source."""


class NotSolved(PyrobalError):
    """A single balance has no answer; ``reason`` names the limit that was violated."""

    def __init__(self, reason: Reason, detail: str = "") -> None:
        self.reason = reason
        super().__init__(f"{reason.text}{': ' + detail if detail else ''}")


class Reason(enum.IntEnum):
    """Why a scenario has no answer. SOLVED is 0, so ``reason == 0`` is the mask of good scenarios."""

    SOLVED = 0
    NOT_CONVERGED = 1
    INPUT_NOT_FINITE = 2
    ASSAY_IMPOSSIBLE = 3
    GRADE_LEAVES_NO_IRON_SULFIDE = 4
    GRADE_BELOW_CHARGE = 5
    NO_SULFUR_LEFT = 6
    OXYGEN_BEYOND_MATTE = 7
    NEGATIVE_OXYGEN = 8
    ENRICHMENT_ABOVE_PURITY = 9
    ENRICHMENT_BELOW_AIR = 10
    FUEL_CANNOT_HEAT = 11
    TEMPERATURE_OUT_OF_REACH = 12
    SLAG_ALREADY_CLEAN = 13
    SLAG_SHORT_OF_SULFUR = 14
    CONCENTRATE_GRADE_OUT_OF_REACH = 15
    REDUCTANT_TAKES_NO_OXYGEN = 16
    ANODE_OXYGEN_OUT_OF_REACH = 17
    BURNER_CANNOT_HEAT = 18
    OXYGEN_SHORT_OF_MATTE = 19
    MATTE_SULFUR_UNBOUND = 35
    MATTE_ABOVE_WHOLE = 36
    MATTE_OTHER_BEYOND_CHARGE = 37
    MATTE_WITHOUT_IRON_SULFIDE = 38
    GAS_SHORT_OF_WATER = 29
    NO_SULFUR_DIOXIDE = 40
    REFERENCE_OXYGEN_UNREACHABLE = 41
    BASE_LOAD_ABOVE_LIMIT = 42
    VESSEL_ABOVE_LIMIT = 43
    GAS_OXYGEN_SHORT = 30
    GAS_SO2_SHORT = 31
    GAS_COLDER_THAN_COOLER = 32
    STEAM_IMPOSSIBLE = 33
    GAS_COLDER_THAN_WASH = 34
    BLAST_OUT_OF_REACH = 20
    NO_IRON_FOR_SLAG_BLOW = 21
    STAGES_OVERLAP = 22
    CONVERTER_SLAG_IMPOSSIBLE = 23
    BLOW_RUNS_BACKWARDS = 24
    BATH_FREEZES = 25
    BATH_OVERHEATS = 26
    BLOWS_LONGER_THAN_CYCLE = 27
    OWN_COPPER_SHORT = 28

    RECYCLE_NOT_CLOSED = 60
    AIM_OUT_OF_REACH = 80

    @property
    def text(self) -> str:
        """The violated limit, in a sentence for people."""
        return _SENTENCES[self]


_SENTENCES = {
    Reason.SOLVED: "solved",
    Reason.NOT_CONVERGED: "the equations did not converge within the iteration limit",
    Reason.INPUT_NOT_FINITE: "an input of this scenario is not a finite number",
    Reason.RECYCLE_NOT_CLOSED: "what is recycled keeps growing: the recycles did not settle",
    Reason.ASSAY_IMPOSSIBLE: "no set of minerals explains the assay",
    Reason.GRADE_LEAVES_NO_IRON_SULFIDE: (
        "matte grade too high: no FeS would be left in the matte, so copper metal would form; "
        "blister made in one step is outside this model; "
        "lower smelting.matte_grade (pure copper sulfide is the limit, about 79 % Cu; lead, zinc and other "
        "metals in the matte lower it)"
    ),
    Reason.GRADE_BELOW_CHARGE: (
        "the charge gives a richer matte than asked for, even with no iron oxidised; raise "
        "smelting.matte_grade"
    ),
    Reason.NO_SULFUR_LEFT: (
        "the charge holds less sulfur than matte and slag of this grade need; lower smelting.matte_grade "
        "or add a sulfide concentrate"
    ),
    Reason.OXYGEN_BEYOND_MATTE: (
        "this much oxygen per tonne would burn all the iron sulfide, so copper metal would form; "
        "blister made in one step is outside this model; lower smelting.oxygen_per_tonne"
    ),
    Reason.OXYGEN_SHORT_OF_MATTE: (
        "this little oxygen oxidises less iron than even a lean matte leaves to the slag; raise "
        "smelting.oxygen_per_tonne"
    ),
    Reason.MATTE_SULFUR_UNBOUND: (
        "smelting.matte_sulfur is more than the copper and iron of this matte bind as Cu2S and FeS; "
        "lower it, raise smelting.matte_iron, or leave one of them predicted"
    ),
    Reason.MATTE_ABOVE_WHOLE: (
        "copper, iron, sulfur and oxygen set for the matte come to more than 100 %, even with the iron as "
        "oxide or some copper as metal; lower smelting.matte_iron, or leave smelting.matte_sulfur or "
        "matte_oxygen predicted"
    ),
    Reason.MATTE_WITHOUT_IRON_SULFIDE: (
        "the iron or sulfur set for the matte leaves no FeS beside its Cu2S and its oxygen; raise "
        "smelting.matte_iron or matte_sulfur, or set less smelting.matte_oxygen"
    ),
    Reason.MATTE_OTHER_BEYOND_CHARGE: (
        "the matte's assay leaves more unnamed than the charge brings that no assay names; raise "
        "smelting.matte_iron or matte_sulfur, or leave them predicted"
    ),
    Reason.NEGATIVE_OXYGEN: "the charge would need less than no oxygen; raise smelting.matte_grade",
    Reason.ENRICHMENT_ABOVE_PURITY: (
        "the oxygen enrichment needed is above the purity of the industrial oxygen (smelting.oxygen_purity)"
    ),
    Reason.ENRICHMENT_BELOW_AIR: "the oxygen enrichment needed is below that of air",
    Reason.FUEL_CANNOT_HEAT: "the fuel gas leaves as hot as it burns: no amount of fuel closes the heat",
    Reason.TEMPERATURE_OUT_OF_REACH: (
        "the temperature at which the heat closes lies outside 1150 to 1600 degC"
    ),
    Reason.SLAG_ALREADY_CLEAN: (
        "the slag fed to slag cleaning holds no more copper, or no more sulfur to make matte of, than the "
        "cleaned slag keeps; lower slag_cleaning.slag_copper or slag_entrained_copper (with flotation "
        "tailings_copper), reduce further (slag_magnetite), or set slag_cleaning.kind to none"
    ),
    Reason.SLAG_SHORT_OF_SULFUR: (
        "the slag fed to slag cleaning holds too little sulfur for a matte to form beside it"
    ),
    Reason.CONCENTRATE_GRADE_OUT_OF_REACH: (
        "slag_cleaning.concentrate_grade is above that of the copper-bearing part of the slag alone, "
        "or below that "
        "of the slag; change it"
    ),
    Reason.REDUCTANT_TAKES_NO_OXYGEN: (
        "the reductant takes no oxygen from the bath at this efficiency and split of carbon to CO and CO2"
    ),
    Reason.ANODE_OXYGEN_OUT_OF_REACH: (
        "the oxidised copper holds less oxygen than anode_furnace.oxygen asks for; lower it or raise "
        "anode_furnace.oxygen_after_oxidation"
    ),
    Reason.BURNER_CANNOT_HEAT: (
        "the burner gas of the anode furnace leaves as hot as it burns: no amount of fuel closes the heat"
    ),
    Reason.GAS_SHORT_OF_WATER: (
        "chlorine and fluorine of the charge take more hydrogen, to leave as HCl and HF, than moisture, "
        "fuel and air bring; check the assays of Cl and F"
    ),
    Reason.NO_SULFUR_DIOXIDE: "no SO2 reaches the acid plant, so there is nothing to convert",
    Reason.REFERENCE_OXYGEN_UNREACHABLE: (
        "the stack gas holds as much oxygen as air, so it cannot be stated at a reference oxygen "
        "(stack.<name>.reference_oxygen)"
    ),
    Reason.BASE_LOAD_ABOVE_LIMIT: (
        "the steady gas alone is above a limit of the acid plant; no schedule of the vessels can help"
    ),
    Reason.VESSEL_ABOVE_LIMIT: (
        "one vessel blowing on its own, with the steady gas, is above a limit of the acid plant; "
        "no schedule can help, blow more slowly"
    ),
    Reason.GAS_OXYGEN_SHORT: (
        "SO3 and sulfate formation take more oxygen than the gas holds; raise the hood air, the leak or the "
        "sulfation air of the line, or lower its so3_share"
    ),
    Reason.GAS_SO2_SHORT: "the dust would take up more SO2 as sulfate than the gas holds; lower sulfation",
    Reason.GAS_COLDER_THAN_COOLER: (
        "the gas reaches the boiler or spray cooler with less heat than it is set to leave with; lower "
        "cooler_temperature or draw in less air"
    ),
    Reason.STEAM_IMPOSSIBLE: (
        "at the boiler's steam_pressure the feedwater would already boil, or the steam leave colder "
        "than it boils"
    ),
    Reason.GAS_COLDER_THAN_WASH: (
        "the gas after quenching is no warmer than gas_train.cooled_gas_temperature; lower that"
    ),
    Reason.BLAST_OUT_OF_REACH: (
        "the converter blast needs an enrichment below that of air or above converting.oxygen_purity"
    ),
    Reason.NO_IRON_FOR_SLAG_BLOW: (
        "the matte holds no more iron than white metal does, so there is nothing to blow in a slag "
        "blow; lower "
        "smelting.matte_grade or converting.white_metal_iron"
    ),
    Reason.STAGES_OVERLAP: (
        "the next ladles come too late or too early: before they are due the matte is white metal "
        "already, or "
        "charging and skimming leave no time to blow; change converting.charging_interval"
    ),
    Reason.CONVERTER_SLAG_IMPOSSIBLE: (
        "the magnetite and copper asked for in the converter slag leave no room for its iron; lower "
        "converting.slag_magnetite or slag_copper, or raise converting.fe_sio2"
    ),
    Reason.BLOW_RUNS_BACKWARDS: (
        "what is charged cold to the slag blows of the converter brings more oxygen, or binds more sulfur, "
        "than they give; charge less of it there: copper metal belongs in the copper blow "
        '(revert, stage = "copper_blow") or in the anode furnace (to = "anode_furnace")'
    ),
    Reason.BATH_FREEZES: (
        "the bath of the converter gets colder than converting.coldest_bath; charge fewer cold "
        "reverts, blow faster or enrich the blast"
    ),
    Reason.BATH_OVERHEATS: (
        "the bath of the converter gets hotter than 1600 degC; let cold charge hold its temperature "
        "(converting.close_heat_with)"
    ),
    Reason.BLOWS_LONGER_THAN_CYCLE: (
        "blows and pauses take longer than converting.cycle_time, or than converting.vessels allow "
        "for this much "
        "matte; blow faster or use more vessels"
    ),
    Reason.OWN_COPPER_SHORT: (
        "the converter would take up more cold copper than it makes; blow with less enrichment or buy scrap "
        "(converting.copper_coolant)"
    ),
    Reason.AIM_OUT_OF_REACH: (
        "no value of the setting within its range gives the reading that is aimed for; "
        "try another range, another setting, or see what holds the reading (a heat balance that fuel closes "
        "is never short)"
    ),
}
