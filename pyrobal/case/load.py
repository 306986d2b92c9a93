"""A case: the inputs of one plant, what was written, and what had to be assumed."""

from __future__ import annotations

import dataclasses
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from pyrobal import units
from pyrobal.case import upsets
from pyrobal.case.document import Document
from pyrobal.case.draft import Draft
from pyrobal.case.lots import with_lots
from pyrobal.case.override import override
from pyrobal.case.read import read
from pyrobal.case.registry import default_text
from pyrobal.case.schema import fuels_named, tables, written_in
from pyrobal.case.unused import without_effect
from pyrobal.case.unusual import unusual
from pyrobal.case.validate import check
from pyrobal.errors import CaseError, Fault
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.streams.fuel import FuelSettings, default_fuels


@dataclass(frozen=True, repr=False)
class Case:
    """What a balance is made from.

    inputs : the settings in SI
    file, text : where it was read, and the text itself, so that a run can be repeated
    overrides : settings laid over the text, "KEY=VALUE" each
    given : dotted keys that were written
    assumed : dotted key -> default in plant units, of every other setting that has an effect
    beside : other files that were read for it
    cautions : written settings that have no effect or are unusual, or that --set has put aside
    """

    inputs: Inputs
    file: str = "python"
    text: str = ""
    overrides: tuple[str, ...] = ()
    given: frozenset[str] = frozenset()
    assumed: Mapping[str, str] = field(default_factory=dict)
    cautions: tuple[Fault, ...] = ()
    beside: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """The title of the case."""
        return self.inputs.title

    def __repr__(self) -> str:
        defaults = f"{len(self.given)} keys given, {len(self.assumed)} defaults used"
        return f"<case {self.title!r} from {self.file}: {defaults}>"


def load_case(source: str | Path, overrides: Sequence[str] = ()) -> Case:
    """The case in a TOML file, on standard input ("-"), or in a text of more than one line.

    overrides : settings laid over it, each "KEY=VALUE" as on the command line
    Raises CaseError with every error found.

    >>> import pyrobal
    >>> pyrobal.load_case("cases/skerry_point.toml", ["smelting.enrichment=60 %"]).title
    'Skerry Point smelter, autumn blend'
    """
    return case_of(opened(source), overrides)


def opened(source: str | Path) -> Document:
    """What is written at a source of ``load_case``, with the lots it names; read once for many cases.

    Raises CaseError where there is nothing to read values from.
    """
    return with_lots(read(source))


def case_of(written_down: Document, overrides: Sequence[str] = ()) -> Case:
    """The case of a document, with settings laid over it; the document stays as it is.

    Raises CaseError with every error found.
    """
    document = override(written_down, overrides)
    draft = Draft(document)
    check(draft)
    written = draft.inputs if draft.faults else upsets.read(draft)
    if draft.faults:
        raise CaseError(_in_order(draft.faults, slipped={slip.line for slip in document.slips}))
    inputs = dataclasses.replace(written, fuel=_with_default_fuels(written))
    unused = without_effect(inputs)
    return Case(
        inputs=inputs,
        file=document.file,
        text=document.text,
        beside=document.beside,
        overrides=tuple(overrides),
        given=frozenset(draft.places),
        assumed=draft.halved | _assumed(inputs, draft.places, unused),
        cautions=(
            *document.dropped,
            *(
                _caution(draft, key, f"has no effect: {why}")
                for key, why in unused.items()
                if draft.given(key)
            ),
            *(_caution(draft, key, why) for key, why in unusual(inputs).items() if draft.given(key)),
        ),
    )


def _in_order(faults: list[Fault], slipped: set[int | None]) -> list[Fault]:
    """By line, and only the first word on a line that is not TOML at all."""
    kept: dict[tuple[str, int | None, str], Fault] = {}
    for fault in faults:
        slip = fault.line is not None and fault.line in slipped
        kept.setdefault((fault.file, fault.line, "" if slip else f"{fault.key} {fault.text}"), fault)
    return sorted(kept.values(), key=lambda f: (f.file == "--set", f.line or 0))


def _caution(draft: Draft, key: str, why: str) -> Fault:
    place = draft.place(key)
    return draft.document.fault(place.path, key, why)


def _with_default_fuels(inputs: Inputs) -> dict[str, FuelSettings]:
    """The fuels described, and those of the house that a step names without a description."""
    named = {name for _, name in fuels_named(inputs)}
    return {**{name: f for name, f in default_fuels().items() if name in named}, **inputs.fuel}


def _assumed(inputs: Inputs, given: Container[str], unused: Iterable[str]) -> dict[str, str]:
    """Every setting with a default that was not written and has an effect."""
    without = tuple(unused)
    return {
        key: text
        for key, text in _defaults(inputs)
        if key not in given and key not in without and key.rpartition(".")[0] not in without
    }


def _defaults(inputs: Inputs) -> Iterator[tuple[str, str]]:
    """Every setting with a value, written or not: dotted key and value in plant units."""
    for key, node in tables(inputs):
        for name, declared in written_in(node).items():
            text = default_text(declared, getattr(node, name))
            if text is not None:
                yield f"{key}.{name}", text
        if isinstance(node, FuelSettings):
            unit = "vol%" if node.kind == "gas" else "wt%"
            for name, x in node.composition.items():
                yield f"{key}.{name}", units.write(float(x[0]), unit)
