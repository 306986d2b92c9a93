"""Settings of the converters."""

from __future__ import annotations

from dataclasses import dataclass

from pyrobal.arrays import FloatN
from pyrobal.constants import HOUR, MW, NM3_PER_HOUR, PERCENT, TONNE, celsius
from pyrobal.fields import choice, quantity, table
from pyrobal.streams.site import OXYGEN_IN_AIR

MINUTE = 60.0  # s
# Ways of working that only a continuous converter has.
ONLY_CONTINUOUS = {"close_heat_with": "enrichment", "matte_state": "solid"}


@dataclass(frozen=True, kw_only=True)
class ConvertingSettings:
    """Schedule, blast, slag, end points and heat of the converters.

    Batch: ladles are charged before each slag blow, the slag of each blow is skimmed, the white metal of the
    last one is blown to blister copper. Continuous: one steady bath. Defaults are common practice unless the
    meaning says more; heat loss and fall of temperature are orders of magnitude, to be replaced by your own.
    """

    kind: str = choice(
        "batch: slag blows, then a copper blow; continuous: one steady bath",
        ("batch", "continuous"), default="batch",
    )  # fmt: skip

    ladle_mass: FloatN = quantity("t", "matte in one ladle", default=25 * TONNE, low=TONNE, high=100 * TONNE)
    first_ladles: FloatN = quantity(
        "-", "ladles charged before the first slag blow", default=4.0, low=0.1, high=30.0, count=True
    )
    later_ladles: FloatN = quantity(
        "-", "ladles charged before each later slag blow", default=2.0, low=0.0, high=20.0, count=True
    )
    slag_blows: FloatN = quantity(
        "-", "slag blows in a cycle, each skimmed; of 2.5 the last is charged half as much",
        default=3.0, low=1.0, high=8.0, count=True,
    )  # fmt: skip
    charging_interval: FloatN | None = quantity(
        "min", "time from one charging of ladles to the next; else a blow ends at cut_iron",
        default=None, low=1 * MINUTE, high=1440 * MINUTE,
    )  # fmt: skip
    charging_time: FloatN = quantity(
        "min", "vessel out of blast for each charging", default=10 * MINUTE, low=0.0, high=240 * MINUTE
    )
    skimming_time: FloatN = quantity(
        "min",
        "vessel out of blast for each skimming of slag",
        default=15 * MINUTE,
        low=0.0,
        high=240 * MINUTE,
    )
    pouring_time: FloatN = quantity(
        "min",
        "vessel out of blast to pour the copper and make ready",
        default=45 * MINUTE,
        low=0.0,
        high=720 * MINUTE,
    )
    cycle_time: FloatN | None = quantity(
        "h", "from one first charging to the next of the same vessel; else as long as the cycle takes",
        default=None, low=0.5 * HOUR, high=100 * HOUR,
    )  # fmt: skip
    vessels: FloatN | None = quantity(
        "-",
        "vessels that can be used; else as many as the matte needs",
        default=None,
        low=1.0,
        high=20.0,
        count=True,
    )
    cut_iron: FloatN = quantity(
        "wt%", "iron in the matte at the end of a slag blow that more matte follows",
        default=6 * PERCENT, low=0.0, high=40 * PERCENT,
    )  # fmt: skip
    white_metal_iron: FloatN = quantity(
        "wt%",
        "iron in the white metal at the end of the last slag blow",
        default=1 * PERCENT,
        low=0.0,
        high=0.1,
    )
    slag_blow_blast: FloatN = quantity(
        "Nm3/h", "dry blast of one vessel in a slag blow",
        default=36_000 * NM3_PER_HOUR, low=100 * NM3_PER_HOUR, high=2e5 * NM3_PER_HOUR,
        usual=(2000 * NM3_PER_HOUR, 80_000 * NM3_PER_HOUR),
    )  # fmt: skip
    copper_blow_blast: FloatN = quantity(
        "Nm3/h", "dry blast of one vessel in the copper blow",
        default=36_000 * NM3_PER_HOUR, low=100 * NM3_PER_HOUR, high=2e5 * NM3_PER_HOUR,
        usual=(2000 * NM3_PER_HOUR, 80_000 * NM3_PER_HOUR),
    )  # fmt: skip
    slag_blow_enrichment: FloatN = quantity(
        "vol%", "O2 in the dry blast of the slag blows", default=OXYGEN_IN_AIR, low=0.15, high=1.0
    )
    copper_blow_enrichment: FloatN = quantity(
        "vol%", "O2 in the dry blast of the copper blow", default=OXYGEN_IN_AIR, low=0.15, high=1.0
    )
    slag_blow_oxygen_efficiency: FloatN = quantity(
        "%", "oxygen that reacts in the slag blows", default=0.85, low=0.3, high=1.0
    )
    copper_blow_oxygen_efficiency: FloatN = quantity(
        "%", "oxygen that reacts in the copper blow", default=0.92, low=0.3, high=1.0
    )

    matte_state: str = choice(
        "how a continuous converter is fed: liquid, or granulated and cold",
        ("liquid", "solid"),
        default="liquid",
    )
    slag_system: str = choice(
        "slag of a continuous converter", ("calcium_ferrite", "silicate"), default="calcium_ferrite"
    )
    enrichment: FloatN = quantity(
        "vol%", "O2 in the dry blast of a continuous converter", default=0.25, low=0.15, high=1.0
    )
    oxygen_efficiency: FloatN = quantity(
        "%", "oxygen that reacts in a continuous converter", default=0.90, low=0.3, high=1.0
    )
    cao_fe: FloatN = quantity(
        "-", "mass ratio of CaO to total Fe in a calcium ferrite slag; a reading without a lime flux",
        default=0.38, low=0.0, high=2.0,
    )  # fmt: skip

    oxygen_purity: FloatN = quantity(
        "vol%", "O2 of the industrial oxygen, the rest nitrogen and argon", default=0.95, low=0.25, high=1.0
    )
    blast_temperature: FloatN = quantity(
        "degC", "blast as it enters the tuyeres", default=celsius(60), low=celsius(-40), high=celsius(600)
    )
    fe_sio2: FloatN = quantity(
        "-", "mass ratio of total Fe to SiO2 in a silicate slag; a reading without a silica flux",
        default=2.0, low=0.5, high=8.0,
    )  # fmt: skip
    slag_magnetite: FloatN | None = quantity(
        "wt%", "Fe3O4 in the slag; typical: 20 in silicate and 50 in calcium ferrite slag",
        default=None, low=0.0, high=0.9, word="typical",
    )  # fmt: skip
    slag_copper: FloatN | None = quantity(
        "wt%", "copper in the slag, all forms; predicted: equilibrium and slag_entrained_copper",
        default=None, low=0.0, high=0.4, word="predicted",
    )  # fmt: skip
    slag_entrained_copper: FloatN = quantity(
        "wt%", "copper in the slag as suspended white metal, or copper where continuous",
        default=3 * PERCENT, low=0.0, high=0.3,
    )  # fmt: skip
    blister_sulfur: FloatN = quantity(
        "wt%", "sulfur in the blister", default=0.03 * PERCENT, low=0.0, high=0.012
    )
    blister_oxygen: FloatN = quantity(
        "wt%", "oxygen in the blister", default=0.5 * PERCENT, low=0.0, high=0.02
    )
    deportment: dict[str, dict[str, FloatN]] = table(
        "share of a minor element to blister, slag and offgas; overrides the table", "converting_deportment"
    )
    dust: FloatN = quantity(
        "%", "dust carried out, of matte, flux and reverts", default=0.01, low=0.0, high=0.2
    )
    hood_air: FloatN = quantity(
        "%", "air drawn in at the hood, of the gas at the mouth", default=1.0, low=0.0, high=10.0
    )
    heat_loss: FloatN = quantity(
        "MW",
        "heat lost by one vessel while it holds a melt",
        default=2 * MW,
        low=0.0,
        high=50 * MW,
        usual=(0.1 * MW, 10 * MW),
    )
    matte_temperature_drop: FloatN = quantity(
        "K", "matte cools so much in launder and ladle", default=50.0, low=0.0, high=400.0
    )
    bath_temperature: FloatN = quantity(
        "degC", "temperature that cold charge holds; of all that leaves where continuous",
        default=celsius(1230), low=celsius(1120), high=celsius(1450),
    )  # fmt: skip
    coldest_bath: FloatN = quantity(
        "degC", "below this the bath freezes; white metal melts at 1130, copper at 1085",
        default=celsius(1100), low=celsius(950), high=celsius(1250),
    )  # fmt: skip
    close_heat_with: str = choice(
        "what closes the heat; enrichment only where continuous",
        ("cold_charge", "enrichment", "nothing"), default="cold_charge",
    )  # fmt: skip
    copper_coolant: str = choice(
        "cold charge of a copper blow; slag blows and continuous converters take own cold matte",
        ("own_copper", "copper_scrap"), default="own_copper",
    )  # fmt: skip

    def contradictions(self) -> dict[str, str]:
        """Settings that do not go with the kind of converter, each with what to do."""
        if self.kind != "batch":
            return {}
        text = 'is "{}", which only a continuous converter can be; remove it, or set converting.kind'
        return {
            name: text.format(word) for name, word in ONLY_CONTINUOUS.items() if getattr(self, name) == word
        }
