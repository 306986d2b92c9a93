"""Settings that are words, which no array of scenarios can mix: a study of them is one of a case for each."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pyrobal.case.load import Case, load_case
from pyrobal.errors import CaseError, Fault
from pyrobal.studies.variable import is_word


@dataclass(frozen=True, eq=False)
class Branch:
    """The case with one word for each setting that is varied by words, in the order of their keys."""

    case: Case
    words: tuple[str, ...] = ()


def worded(case: Case, over: Mapping[str, str | Sequence[Any]]) -> dict[str, tuple[str, ...]]:
    """Key -> words, of those settings in ``over`` that hold a word."""
    found = {}
    for key, written in over.items():
        if is_word(case.inputs, key):
            listed = written.split(",") if isinstance(written, str) else map(str, written)
            found[key] = tuple(dict.fromkeys(word.strip() for word in listed))
    return found


def branches(case: Case, words: Mapping[str, Sequence[str]], option: str = "--over") -> tuple[Branch, ...]:
    """A case for every combination of words; the last key runs fastest.

    Raises CaseError for a word that a setting does not know, or that contradicts the case, and where the case
    was made in Python and has no text to lay words over.
    """
    if not words:
        return (Branch(case),)
    faults, found = [], []
    if "\n" not in case.text:
        text = "is a word, and this case has no text to lay it over; sweep a case for each"
        raise CaseError([Fault(option, None, key, text) for key in words])
    for combination in itertools.product(*words.values()):
        laid = [f"{key}={word}" for key, word in zip(words, combination, strict=True)]
        try:
            found.append(Branch(load_case(case.text, [*case.overrides, *laid]), combination))
        except CaseError as error:
            faults += [Fault(option, None, fault.key, fault.text) for fault in error.faults]
    if faults:
        raise CaseError(list(dict.fromkeys(faults)))
    return tuple(found)
