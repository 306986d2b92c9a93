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
    from pyrobal.api.commands import (
        balance,
        blend,
        compare,
        explain,
        reconcile,
        sensitivity,
        sweep,
        uncertainty,
        window,
    )
    from pyrobal.api.planning import optimise, plan
    from pyrobal.case.load import Case, load_case
    from pyrobal.report.result import Result

__version__ = "0.1.0"
__all__ = [
    "Case", "Result", "__version__", "balance", "blend", "compare", "explain", "load_case", "optimise",
    "plan", "reconcile", "sensitivity", "sweep", "uncertainty", "window",
]  # fmt: skip

_HOME = {
    "Case": "pyrobal.case.load",
    "load_case": "pyrobal.case.load",
    "Result": "pyrobal.report.result",
    "optimise": "pyrobal.api.planning",
    "plan": "pyrobal.api.planning",
}


def __getattr__(name: str) -> Any:
    if name in __all__:
        return getattr(import_module(_HOME.get(name, "pyrobal.api.commands")), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
