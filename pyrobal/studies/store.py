"""A study on disk: finished parts that outlive a kill, a manifest that says whose they are, one file at last.

A part is written beside its place and moved there when it is whole. The manifest is the first file; a
study goes on from the parts it finds only where its manifest is the same, and refuses the folder otherwise.
The one file keeps the manifest beside it, with a digest of itself; nothing that lacks it is written over.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import shutil
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, Final

from pyrobal.arrays import FloatN
from pyrobal.errors import CaseError, Fault
from pyrobal.files import put
from pyrobal.studies.lock import LOCK, Locked, locked
from pyrobal.studies.table import StudyTable

if TYPE_CHECKING:
    import pyarrow

MANIFEST: Final = "_study.json"  # readers of a folder of Parquet files pass over a leading underscore
NOTE: Final = ".study.json"  # what it is called beside the one file, behind the name of that
_DIGEST: Final = "file_sha256"  # in the manifest beside a finished file
_SINGLE: Final = (".csv", ".parquet")
_PART: Final = re.compile(r"part-(\d+)\.(csv|parquet)")


@dataclass(frozen=True)
class Store:
    """Where a study goes: one CSV or Parquet file, or a folder of Parquet parts.

    target : as the user named it
    folder : of the parts; it is removed once they have become one file
    suffix : ".csv" or ".parquet"
    """

    target: Path
    folder: Path
    suffix: str

    @staticmethod
    def at(target: str | Path) -> Store:
        """The store behind a name. Raises CaseError where nothing of the kind can be written there."""
        target = Path(target)
        suffix, folder = target.suffix.lower(), target.is_dir()
        single = suffix in _SINGLE
        if not target.absolute().parent.is_dir():
            raise _refusal(target, f"there is no directory {target.parent}")
        if single and folder:
            raise _refusal(target, "is a folder")
        if not single and target.exists() and not folder:
            raise _refusal(target, "is a file; a folder, or a name that ends in .csv or .parquet, is needed")
        if suffix and not single and not folder:
            raise _refusal(target, f"{suffix} is not written; name a file in .csv or .parquet, or a folder")
        if suffix != ".csv":
            _need_pyarrow(target)
        parts = target.with_name(f"{target.name}.parts") if single else target
        return Store(target, parts, suffix if single else ".parquet")

    def finished(self, manifest: Mapping[str, Any], count: int) -> bool:
        """True where this very study is there already, whole, in ``count`` parts or one file.

        Raises CaseError where the place of the one file holds anything else.
        """
        if self.folder == self.target:
            whole = all(self._part(i).exists() for i in range(count))
            return whole and _same(self.folder / MANIFEST, manifest)
        if not self.target.exists():
            return False
        if self._note.exists() and _same(self._note, {**manifest, _DIGEST: _digest(self.target)}):
            return True
        raise _refusal(self.target, "exists and is not of this study; name another file or remove it")

    @contextlib.contextmanager
    def alone(self) -> Iterator[None]:
        """Within it no other run writes here. Raises CaseError where one does, OSError where none can."""
        there = self.folder.is_dir()
        self.folder.mkdir(exist_ok=True)
        try:
            with locked(self.folder):
                yield
        except Locked as owner:
            text = f"another run is writing it: {owner}; wait for it, or name another place"
            raise _refusal(self.target, text) from None
        finally:
            with contextlib.suppress(OSError):  # it stays where something is in it
                if not there:
                    self.folder.rmdir()

    def open(self, manifest: Mapping[str, Any]) -> set[int]:
        """Begin or go on; the numbers of the parts that are there already.

        Raises CaseError where the folder holds something else, OSError where it cannot be written.
        """
        note = self.folder / MANIFEST
        if not note.exists():
            if any(path.name != LOCK for path in self.folder.iterdir()):
                raise _refusal(self.folder, "is not empty and holds no study; name another place")
            _put_note(note, manifest)
        elif not _same(note, manifest):
            text = f"holds another study, see {MANIFEST}; remove it or name another place"
            raise _refusal(self.folder, text)
        for half in self.folder.glob(".*.part"):  # of a run that was killed
            half.unlink()
        return self.parts()

    def parts(self) -> set[int]:
        """The numbers of the parts that are there."""
        found = (
            _PART.fullmatch(path.name) for path in (self.folder.iterdir() if self.folder.is_dir() else ())
        )
        return {int(match[1]) for match in found if match}

    def kept(self) -> str:
        """What an interrupt leaves, said for people."""
        if not self.parts():
            return "no part was finished"
        return f"finished parts are kept in {self.folder}; the same command goes on from them"

    def write(self, number: int, part: StudyTable) -> None:
        """Put one part in its place. Raises OSError where that fails; parts already there stay."""
        _put(self._part(number), lambda file: _WRITERS[self.suffix](part, file))

    def close(self, manifest: Mapping[str, Any], count: int) -> None:
        """Make one file of the parts, where one was asked for, a part at a time.

        The manifest comes to lie beside its place before the file does, so that a kill in between leaves
        parts to go on from. Raises CaseError where something has come to lie there meanwhile.
        """
        if self.folder == self.target:
            return
        join = _join_csv if self.suffix == ".csv" else _join_parquet
        whole = self.folder / f"whole{self.suffix}"
        _put(whole, lambda file: join([self._part(i) for i in range(count)], file))
        if not self.finished(manifest, count):
            _put_note(self._note, {**manifest, _DIGEST: _digest(whole)})
            os.replace(whole, self.target)
        shutil.rmtree(self.folder)

    @property
    def _note(self) -> Path:
        return self.target.with_name(f"{self.target.name}{NOTE}")

    def _part(self, number: int) -> Path:
        return self.folder / f"part-{number:05d}{self.suffix}"


def _refusal(place: Path, text: str) -> CaseError:
    return CaseError([Fault("--out", None, str(place), text)])


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _same(note: Path, manifest: Mapping[str, Any]) -> bool:
    try:
        return bool(json.loads(note.read_text(encoding="utf-8")) == json.loads(json.dumps(manifest)))
    except ValueError:  # no manifest of ours
        return False


def _need_pyarrow(target: Path) -> None:
    try:
        import pyarrow.parquet  # noqa: F401
    except ModuleNotFoundError:
        text = "Parquet needs pyarrow: pip install 'pyrobal[study]'; or name a file in .csv"
        raise _refusal(target, text) from None


def _put(path: Path, write: Callable[[IO[bytes]], object]) -> None:
    def save(place: Path) -> None:
        with place.open("wb") as file:
            write(file)

    put(path, save)


def _put_note(path: Path, manifest: Mapping[str, Any]) -> None:
    _put(path, lambda file: file.write(json.dumps(manifest, indent=2).encode() + b"\n"))


def _write_csv(part: StudyTable, file: IO[bytes]) -> None:
    headings = [*(column.heading for column in part.columns), "reason"]
    file.write((",".join(map(_quoted, headings)) + "\n").encode())
    columns = [_texts(cells) for cells in part.cells()]
    for row in zip(*columns, part.reasons(), strict=True):
        file.write(f"{','.join(row)}\n".encode())


def _texts(cells: list[str] | FloatN) -> list[str]:
    if isinstance(cells, list):
        return [_quoted(word) for word in cells]
    return ["" if x != x else repr(x) for x in cells.tolist()]


def _quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"' if set(text) & set(',"\n') else text


def _arrow(part: StudyTable) -> pyarrow.Table:
    import pyarrow

    columns = {c.heading: cells for c, cells in zip(part.columns, part.cells(), strict=True)}
    return pyarrow.table({**columns, "reason": part.reasons()})


def _write_parquet(part: StudyTable, file: IO[bytes]) -> None:
    import pyarrow.parquet

    pyarrow.parquet.write_table(_arrow(part), file, compression="zstd")


_WRITERS: Final = {".csv": _write_csv, ".parquet": _write_parquet}


def _join_csv(parts: list[Path], file: IO[bytes]) -> None:
    for i, path in enumerate(parts):
        with path.open("rb") as part:
            heading = part.readline()
            if i == 0:
                file.write(heading)
            shutil.copyfileobj(part, file)


def _join_parquet(parts: list[Path], file: IO[bytes]) -> None:
    import pyarrow.parquet

    tables: Iterator[pyarrow.Table] = map(pyarrow.parquet.read_table, parts)
    first = next(tables)
    with pyarrow.parquet.ParquetWriter(file, first.schema, compression="zstd") as writer:
        writer.write_table(first)
        for table in tables:
            writer.write_table(table)
