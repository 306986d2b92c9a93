"""Each command as a function: the same words as strings and lists, a result for a notebook.

Everywhere ``case`` is a ``Case`` or the name of its file, ``set`` lays "KEY=VALUE" over it, and ``aim`` with
``by`` solves settings for readings ("READING=VALUE" by "SETTING" or "SETTING=LOW:HIGH"), one or lists of
them. Each raises CaseError with everything that is wrong with what was asked.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

from pyrobal.api.study import Scenarios, Study, Trace
from pyrobal.case.load import Case, load_case
from pyrobal.errors import CaseError, Fault
from pyrobal.report import result as solved

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from pyrobal.report.compare import Comparison
    from pyrobal.report.result import Result
    from pyrobal.report.study import Section
    from pyrobal.studies.aim import Aim
    from pyrobal.studies.blend import Advice
    from pyrobal.studies.reconcile.reconciliation import Reconciliation
    from pyrobal.studies.sensitivity import Effect
    from pyrobal.studies.uncertainty import Uncertainty
    from pyrobal.studies.window import Window

F = TypeVar("F")
CaseLike = Case | str | Path
Words = str | Sequence[str]  # one, or several


def balance(case: CaseLike, *, set: Words = (), aim: Words = (), by: Words = ()) -> Result:
    """Work out the balance of a case.

    An infeasible case is no error: its ``status`` says so, its readings are nan, its messages name the limit.

    >>> import pyrobal
    >>> result = pyrobal.balance("cases/skerry_point.toml", set="smelting.matte_grade=68 %")
    >>> result.status
    'ok'
    >>> round(result["smelting.matte.grade"].magnitude, 1), result.unit("smelting.matte.grade")
    (68.0, 'wt%')
    """
    one, meant = _aimed(case, set, aim, by)
    if meant is not None:
        from pyrobal.studies.aim import aimed

        one = aimed(one, meant)
    return solved.balance(one)


def compare(*cases: CaseLike, set: Words = (), read: Words = ()) -> Study[Comparison]:
    """What differs between two cases or more, and what that does; ``set`` is laid over the last.

    read : only these readings; the frame has a column for each case

    >>> import pyrobal
    >>> case = pyrobal.load_case("cases/skerry_point.toml")
    >>> change = pyrobal.compare(case, case, set="smelting.enrichment=60 %")
    >>> list(change.frame("Settings that differ")["setting"])
    ['smelting.enrichment']
    """
    from pyrobal.report.compare import compare as side_by_side
    from pyrobal.report.compare_page import compare_html, sections

    if len(cases) < 2:
        raise CaseError([Fault("compare", None, "", "needs two cases or more")])
    each = [*(_case(case) for case in cases[:-1]), _case(cases[-1], set)]
    found = side_by_side(*map(solved.balance, each), read=_several(read))
    return Study(each[-1], found, "compare", lambda: sections(found), lambda: compare_html(found))


def explain(case: CaseLike, key: str, *, set: Words = (), depth: int | None = None) -> Trace:
    """Trace a reading, from its equation back to the inputs; printed it is the text of the command.

    depth : levels of the tree; the largest terms unless given
    Raises KeyError, with the nearest key, for a reading the case does not have.

    >>> import pyrobal
    >>> trace = pyrobal.explain("cases/skerry_point.toml", "smelting.oxygen.per_tonne")
    >>> print(str(trace).partition(" = ")[0])
    smelting.oxygen.per_tonne
    """
    from pyrobal.report.explain.show import lines
    from pyrobal.report.explain.story import Story
    from pyrobal.report.study import Section, study_page
    from pyrobal.report.tables import Column, Table

    one = _case(case, set)
    story = Story(one)
    told = tuple(lines(story.explain(key), depth, 100, one.file, story.sources(key)))
    table = Table(f"Trace of {key}", (Column("trace"),), tuple((line,) for line in told))

    def sections() -> Iterator[Section]:
        yield Section("trace", "Trace", f"Trace of {key}", (told[0],), tables=(table,))

    def page() -> str:
        return study_page(one, f"Trace of {key}.", list(sections()), {"key": key, "trace": told})

    return Trace(one, told, "explain", sections, page)


def sweep(
    case: CaseLike,
    over: Mapping[str, str | Sequence[Any]],
    read: Words,
    *,
    scenarios: str | Path | None = None,
    set: Words = (),
    aim: Words = (),
    by: Words = (),
    executor: Executor | None = None,
) -> Scenarios:
    """Solve a case over a grid of settings and read the answers.

    over : key -> values as in a case file, or "FROM:TO:COUNT"; every combination is solved
    scenarios : CSV file with a column per key and a row per scenario, on top of ``over``
    executor : any ``concurrent.futures.Executor``; none solves in this process

    >>> import pyrobal
    >>> grid = {"smelting.enrichment": "50 %:60 %:3"}
    >>> table = pyrobal.sweep("cases/skerry_point.toml", grid, "smelting.fuel_heat")
    >>> table["smelting.fuel_heat"].round(1).tolist()
    [10.6, 6.7, 3.7]
    >>> table.frame().shape
    (3, 3)
    """
    from pyrobal.studies.sweep import sweep as work_out

    one, meant = _aimed(case, set, aim, by)
    found = work_out(one, over, _several(read), scenarios=scenarios, aim=meant, executor=executor)

    def told() -> Iterator[Section]:
        from pyrobal.report.sweep import sections

        return sections(one, found)

    def page() -> str:
        from pyrobal.report.sweep import sweep_html

        return sweep_html(one, found)

    return Scenarios(one, found, "sweep", told, page)


def window(
    case: CaseLike,
    x: str,
    y: str,
    *,
    limit: Words = (),
    best: str | None = None,
    set: Words = (),
    aim: Words = (),
    by: Words = (),
    executor: Executor | None = None,
) -> Study[Window]:
    """Where two settings keep every limit, and which limit binds elsewhere.

    x, y : "KEY=FROM:TO:COUNT"; limit : "READING<=VALUE" or ">=", beside those of the case
    best : "max:READING" or "min:READING", closed in on

    >>> import pyrobal
    >>> x, y = "smelting.enrichment=50:70 %:5", "smelting.matte_grade=60:70 %:5"
    >>> found = pyrobal.window("cases/skerry_point.toml", x, y, limit="smelting.fuel_heat <= 6 MW")
    >>> int(found.found.feasible.sum())
    17
    """
    from pyrobal.studies import limit as of_limits
    from pyrobal.studies.window import window as work_out

    one, meant = _aimed(case, set, aim, by)
    kept = of_limits.limits(one, _several(limit))
    goal = of_limits.goal(one, best) if best else None
    found = work_out(one, _axis("x", x), _axis("y", y), kept, goal, meant, executor)
    return _study(one, found, "window")


def sensitivity(
    case: CaseLike, read: Words, *, to: Words = (), set: Words = (), aim: Words = (), by: Words = ()
) -> Study[Mapping[str, tuple[Effect, ...]]]:
    """What a change of each setting does to readings, the greatest effect first, from exact derivatives.

    to : settings, or how their keys begin; all that hold a number unless given

    >>> import pyrobal
    >>> effects = pyrobal.sensitivity("cases/skerry_point.toml", "smelting.fuel_heat", to="smelting.heat")
    >>> effects.found["smelting.fuel_heat"][0].setting
    'smelting.heat_loss'
    """
    from pyrobal.studies.measure import reading_units
    from pyrobal.studies.sensitivity import sensitivity as work_out

    one, meant = _aimed(case, set, aim, by)
    found = work_out(one, _several(read), _several(to), meant)
    units = reading_units(one, list(found))

    def told() -> Iterator[Section]:
        from pyrobal.report.sensitivity import sections

        return sections(one, found, units)

    def page() -> str:
        from pyrobal.report.sensitivity import sensitivity_html

        return sensitivity_html(one, found, units)

    return Study(one, found, "sensitivity", told, page)


def uncertainty(
    case: CaseLike,
    read: Words,
    *,
    vary: Mapping[str, str] | None = None,
    only: bool = False,
    limit: Words = (),
    samples: int | None = None,
    seed: int = 1,
    set: Words = (),
    aim: Words = (),
    by: Words = (),
    executor: Executor | None = None,
) -> Study[Uncertainty]:
    """Propagate the errors of assays, settings and formation enthalpies to readings.

    vary : setting -> "+-0.5 %", "+-2 % rel" (one standard deviation), "LOW:HIGH" or "LOW:MODE:HIGH", in place
        of what is common practice; only : vary nothing else
    limit : the chance of breaking each is told; samples : base draws, a power of two

    >>> import pyrobal
    >>> loss = {"smelting.heat_loss": "+-1 MW"}
    >>> case, read = "cases/skerry_point.toml", "smelting.fuel_heat"
    >>> found = pyrobal.uncertainty(case, read, vary=loss, only=True, samples=64)
    >>> round(found.found.scatter["smelting.fuel_heat"].deviation, 1)
    1.5
    """
    from pyrobal.studies.limit import limits
    from pyrobal.studies.spread import spreads
    from pyrobal.studies.uncertainty import SAMPLES
    from pyrobal.studies.uncertainty import uncertainty as work_out

    one, meant = _aimed(case, set, aim, by)
    found = work_out(
        one, _several(read), spreads(one, vary or {}), limits(one, _several(limit)), aim=meant,
        only_stated=only, samples=samples or SAMPLES, seed=seed, executor=executor,
    )  # fmt: skip
    return _study(one, found, "uncertainty")


def blend(
    case: CaseLike,
    *,
    terms: str | Path | None = None,
    limit: Words = (),
    best: str | None = None,
    set: Words = (),
    aim: Words = (),
    by: Words = (),
) -> Study[Advice]:
    """Choose the rates of the concentrates for most margin or most copper within limits.

    terms : file of the parcels on offer; without it every concentrate may be taken up to the whole charge
    best : "margin", "copper", "max:READING" or "min:READING"

    >>> import pyrobal
    >>> advice = pyrobal.blend("cases/skerry_point.toml", limit="feed.assay.As <= 0.12 %")
    >>> advice.found.best.feasible
    True
    """
    from pyrobal.studies.blend import blend as work_out
    from pyrobal.studies.blending import COPPER, MARGIN
    from pyrobal.studies.limit import goal, limits
    from pyrobal.studies.terms import load_terms, without_prices

    one, meant = _aimed(case, set, aim, by)
    offered = load_terms(one, str(terms)) if terms else without_prices(one)
    usual = COPPER if offered.market.copper_price is None else MARGIN
    wanted = usual if best is None else best if best in (COPPER, MARGIN) else goal(one, best)
    return _study(one, work_out(one, offered, limits(one, _several(limit)), wanted, meant), "blend")


def reconcile(
    case: CaseLike,
    measured: str | Path,
    *,
    fit: Words = (),
    each: Words = (),
    drop: Words = (),
    correlated: Words = (),
    loss: str = "squares",
    set: Words = (),
) -> Study[Reconciliation]:
    """Plant measurements against the balance: reconciled values, instruments that are off, fitted settings.

    measured : TOML, CSV or workbook; fit, each : "KEY" or "KEY=LOW:HIGH", one value for all periods or one in
    each; drop : columns not to use; correlated : "KEY,KEY=0.4"; loss : "squares" or "huber"

    >>> import pyrobal
    >>> from pathlib import Path
    >>> from tempfile import mkdtemp
    >>> sheet = Path(mkdtemp()) / "day.toml"
    >>> _ = sheet.write_text('measured = {"smelting.fuel" = "700 +- 10 Nm3/h"}')
    >>> day = pyrobal.reconcile("cases/skerry_point.toml", sheet, fit="smelting.heat_loss")
    >>> round(float(day.found.settings[0].value[0]) / 1e6, 1)
    14.2
    """
    from pyrobal.studies.reconcile.reconciliation import reconcile as work_out

    one = _case(case, set)
    found = work_out(one, measured, _several(fit), _several(each), _several(drop), _several(correlated), loss)
    return _study(one, found, "reconcile")


def _case(case: CaseLike, assignments: Words = ()) -> Case:
    """The case, with settings laid over it."""
    over = tuple(_several(assignments))
    if not isinstance(case, Case):
        return load_case(case, over)
    if not over:
        return case
    if not case.text:
        raise CaseError([Fault("set", None, "", "the case was built in Python; change its inputs instead")])
    source = case.file if Path(case.file).is_file() else f"{case.text}\n\n"
    return load_case(source, (*case.overrides, *over))


def _aimed(case: CaseLike, assignments: Words, aim: Words, by: Words) -> tuple[Case, Aim | None]:
    """The case, and what is aimed at in it."""
    from pyrobal.studies.aim import aiming

    one = _case(case, assignments)
    return one, aiming(one, _several(aim), _several(by)) if aim or by else None


def _several(words: Words) -> Sequence[str]:
    return [words] if isinstance(words, str) else words


def _axis(name: str, text: str) -> tuple[str, str]:
    key, equals, span = (part.strip() for part in text.partition("="))
    if not equals:
        raise CaseError([Fault(name, None, "", f'"{text}" is not KEY=FROM:TO:COUNT')])
    return key, span


def _study(case: Case, found: F, kind: str) -> Study[F]:
    """A study that has a page of its own, in ``report``."""
    from importlib import import_module

    home = import_module(f"pyrobal.report.{_PAGES[kind]}")
    page = getattr(home, f"{kind}_html")
    return Study(case, found, kind, lambda: home.sections(found), lambda: page(case, found))


_PAGES: Final = {
    "window": "window",
    "uncertainty": "uncertainty",
    "blend": "blend",
    "optimise": "optimise",
    "plan": "plan",
    "reconcile": "reconcile.page",
}
