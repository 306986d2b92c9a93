"""Feed: concentrates, reverts and fluxes, from assays to streams of known minerals."""

from __future__ import annotations

from dataclasses import dataclass

from pyrobal.arrays import FloatN
from pyrobal.constants import PERCENT, TONNE_PER_HOUR, celsius
from pyrobal.fields import assay, choice, quantity, text


@dataclass(frozen=True)
class ConcentrateSettings:
    """One concentrate of the blend."""

    name: str = text("name of the concentrate")
    rate: FloatN | None = quantity("t/h", "dry solids", default=None, low=0.0)
    share: FloatN | None = quantity(
        "%", "share of the dry blend, with [charge] rate", default=None, low=0.0, high=1.0
    )
    moisture: FloatN = quantity("%", "water, of the wet mass", default=8 * PERCENT, low=0.0, high=0.5)
    temperature: FloatN = quantity(
        "degC", "temperature as fed", default=celsius(25), low=celsius(-40), high=celsius(300)
    )
    assay: dict[str, FloatN] = assay("elements and oxides, wt% of dry solids")
    minerals: dict[str, FloatN] = assay("measured minerals, wt% of dry solids", "minerals")


@dataclass(frozen=True)
class FluxSettings:
    """A flux; its rate follows from the slag target."""

    moisture: FloatN = quantity("%", "water, of the wet mass", default=3 * PERCENT, low=0.0, high=0.5)
    assay: dict[str, FloatN] = assay("elements, oxides and carbonates, wt% of dry solids")


@dataclass(frozen=True)
class RevertSettings:
    """A cold material put back: skulls, dust, scrap."""

    name: str = text("name of the revert")
    to: str = choice("where it goes", ("smelting", "converting"), default="smelting")
    rate: FloatN = quantity("t/h", "dry solids", low=0.0)
    kind: str = choice("what it is made of", ("matte", "slag", "dust", "copper_scrap"), default="matte")
    moisture: FloatN = quantity("%", "water, of the wet mass", default=0.0, low=0.0, high=0.5)
    assay: dict[str, FloatN] = assay("elements and oxides, wt% of dry solids")


@dataclass(frozen=True)
class ChargeSettings:
    """The blend as a whole."""

    rate: FloatN | None = quantity("t/h", "total dry concentrate, only with shares", default=None, low=0.0)
    moisture_after_drying: FloatN = quantity(
        "%", "water left in the dried blend, of wet mass; only with a dryer", default=0.2 * PERCENT, low=0.0, high=0.5
    )
