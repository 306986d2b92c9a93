"""The case file as it stands now, and as it stood when it was last without a fault."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Sequence
from dataclasses import dataclass

from pyrobal.case.document import Document
from pyrobal.case.load import Case, case_of, opened
from pyrobal.errors import CaseError, Fault

Stamp = tuple[tuple[int, int] | None, ...]


@dataclass(frozen=True, eq=False)
class Opened:
    """What a file held when it was read.

    case : without the changes of any page; None where there never was one without faults
    faults : what is wrong with the file now; the case is then that of before
    digest : of what was read; another one means another case
    """

    document: Document | None
    case: Case | None
    faults: tuple[Fault, ...]
    digest: str
    stamp: Stamp

    def changed(self, assignments: Sequence[str]) -> Case:
        """The case with "KEY=VALUE" laid over it. Raises CaseError with every error found."""
        if self.document is None or self.case is None:
            raise CaseError(self.faults)
        return case_of(self.document, [*self.case.overrides, *assignments])


class Source:
    """A case file that is read again when it changes.

    file : as of ``load_case``; what came on standard input cannot change
    overrides : laid over it on the command line
    """

    def __init__(self, file: str, overrides: Sequence[str] = ()) -> None:
        self.file, self.overrides = file, tuple(overrides)
        self._opened = self._read(None)

    def now(self) -> Opened:
        """The file as it stands, read again only where it or one it names has changed."""
        if self.stamp() != self._opened.stamp:
            self._opened = self._read(self._opened)
        return self._opened

    def stamp(self) -> Stamp:
        """Time and size of every file that the case is made of."""
        if self.file == "-":
            return ()
        document = self._opened.document
        return _stamp((self.file, *(() if document is None else document.beside)))

    def _read(self, before: Opened | None) -> Opened:
        stamp = () if self.file == "-" else _stamp((self.file,))
        try:
            document = opened(self.file)
            stamp += _stamp(document.beside)
            case = case_of(document, self.overrides)
        except CaseError as error:
            digest = _digest(str(error), *map(str, stamp))
            if before is None:
                return Opened(None, None, error.faults, digest, stamp)
            beside = () if before.document is None else before.document.beside
            return Opened(before.document, before.case, error.faults, digest, stamp[:1] + _stamp(beside))
        return Opened(document, case, (), _digest(document.text, repr(document.values)), stamp)


def _stamp(files: Sequence[str]) -> Stamp:
    found: list[tuple[int, int] | None] = []
    for file in files:
        try:
            status = os.stat(file)
        except OSError:  # an editor is just putting another in its place
            found.append(None)
        else:
            found.append((status.st_mtime_ns, status.st_size))
    return tuple(found)


def _digest(*texts: str) -> str:
    return hashlib.sha256("\0".join(texts).encode()).hexdigest()[:16]
