"""pyrobal: heat and mass balance of a copper smelter and converter.

    case = pyrobal.load_case("cases/skerry_point.toml")
    result = pyrobal.balance(case)
    result["smelting.matte.rate"]

Nothing is imported until it is asked for.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pyrobal.case.load import Case, load_case
    from pyrobal.report.result import Result, balance
    from pyrobal.studies.blend import blend
    from pyrobal.studies.reconcile.reconciliation import reconcile
    from pyrobal.studies.sensitivity import sensitivity
    from pyrobal.studies.sweep import sweep
    from pyrobal.studies.uncertainty import uncertainty
    from pyrobal.studies.window import window

__version__ = "0.1.0"
__all__ = [
    "Case", "Result", "__version__", "balance", "blend", "load_case", "reconcile", "sensitivity", "sweep",
    "uncertainty", "window",
]  # fmt: skip

_HOME = {
    "Case": "pyrobal.case.load",
    "load_case": "pyrobal.case.load",
    "Result": "pyrobal.report.result",
    "balance": "pyrobal.report.result",
    "blend": "pyrobal.studies.blend",
    "reconcile": "pyrobal.studies.reconcile.reconciliation",
    "sensitivity": "pyrobal.studies.sensitivity",
    "sweep": "pyrobal.studies.sweep",
    "uncertainty": "pyrobal.studies.uncertainty",
    "window": "pyrobal.studies.window",
}


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
