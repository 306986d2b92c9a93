"""The balance as one HTML file that opens offline, prints, and can be mailed.

Everything is inside: style, script, figures, the result as JSON and the case. A content security policy
lets only the two scripts of this package run and nothing be fetched, whatever a name in the case holds.
"""

from __future__ import annotations

import base64
import datetime
import hashlib
import json
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final

import jinja2
from markupsafe import Markup, escape

from pyrobal import __version__
from pyrobal.report import tables
from pyrobal.report.columns import parts
from pyrobal.report.export import as_dict
from pyrobal.report.figures import Figure, figures
from pyrobal.report.labels import label
from pyrobal.report.numbers import number, quantity
from pyrobal.report.permit import permit
from pyrobal.report.picture import COLOURS, HEAT, MASS, NAMES, bands, picture, quantities, table
from pyrobal.report.result import Line, Result
from pyrobal.report.settings import settings
from pyrobal.report.summary import LIMITS, Part, summary
from pyrobal.report.tables import Cell, Column, Table, headline, plain
from pyrobal.report.verdict import first_figures, purpose, uses, verdict
from pyrobal.thermo.tables import SEEN, load_substances

if TYPE_CHECKING:
    from pyrobal.case.load import Case

_PARTS: Final = {
    "answer": "Figures and limits", "plant": "Plant", "messages": "Cautions and limits", "summary": "Summary",
    "steps": "Step by step", "readings": "All results", "more": "Basis of the results",
}  # fmt: skip
_STEPS: Final = {  # whose readings begin with another word
    "anode": "anode furnace", "gas": "gas train", "acid": "acid plant", "load": "load on the acid plant",
    "limit": "limits",
}  # fmt: skip
_PRINTED: Final = 104  # letters of a table's width on a sheet of paper
_NAME: Final = 24  # letters of a name before it is folded
_COUNTS: Final = {
    "checks": "checks", "agree": "within tolerance", "memory": "from memory", "practice": "common practice",
}  # fmt: skip


def as_html(result: Result, made: datetime.datetime | None = None) -> str:
    """The report of a single solved case. ``made``: the time printed on it, now unless given."""
    case = result.case
    drawn = figures(result)
    told = summary(result)
    values: dict[str, Any] = {
        "first": first_figures(result),
        "uses": [{**vars(use), "length": _length(use.share)} for use in uses(result)],
        "plant": _plant(result),
        "summary": [group for group in told if group.heading != LIMITS],  # the bars tell of them
        "steps": _steps(result, drawn) if told else [],
    }
    values["answer"] = values["first"] or values["uses"]
    by_level = {name: [m for m in result.messages if m.level in levels] for name, levels in _LEVELS.items()}
    return page(
        "report.html",
        headline(case.title),
        drawn,
        json_text=script_json(as_dict(result)),
        made=made,
        result=result,
        purpose=purpose(result),
        verdict=verdict(result),
        parts=[(name, label) for name, label in _PARTS.items() if values.get(name, True)],
        assumptions=tables.assumptions(result),
        trust=_trust(result),
        every=tables.every_reading(result.told),
        case=case,
        digest=hashlib.sha256(case.text.encode()).hexdigest(),
        settings=None if case.text else _settings(case),
        **values,
        **by_level,
    )


_LEVELS: Final = {"urgent": ("limit", "caution"), "notes": ("note",), "safety": ("safety",)}


def _length(share: float) -> float:
    """How far the bar of a limit reaches, in hundredths of the limit; it ends a little beyond it."""
    return min(max(share, 0.0), 125.0) if share == share else 0.0


@dataclass(frozen=True)
class Step:
    """One folded part of the page: what is drawn and listed of a step."""

    word: str
    name: str
    figures: list[Figure]
    tables: list[Table]


def _steps(result: Result, drawn: list[Figure]) -> list[Step]:
    """Streams side by side, heat balances, matrices and figures of each section that has any."""
    by_word: dict[str, list[Line]] = {}
    for line in result.told:
        by_word.setdefault(tables.section(line.key), []).append(line)
    found = []
    for word, lines in by_word.items():
        own = [
            *tables.stream_tables(tables.words(word), tables.stream_lines(lines)),
            *tables.heat_tables(lines),
        ]
        own += tables.matrices(lines)
        own += [permit(result)] if word == "emissions" else []
        figures_of = [figure for figure in drawn if figure.section == word]
        if own or figures_of:
            found.append(Step(word, _STEPS.get(word, tables.words(word)).capitalize(), figures_of, own))
    return found


def _plant(result: Result) -> dict[str, Any]:
    """The picture of the plant for wide and for narrow screens, what its bands can show, and its colours."""
    drawn, warm = bands(result), bands(result, HEAT)
    kinds = {band.matter.kind for band in warm}
    offered = [*quantities(drawn), *quantities(warm)]
    return {
        "table": table([*drawn, *(band for band in warm if band.matter.kind == "heat")]),
        "pictures": [
            (way, Markup(picture(result, quantity, way)), quantity)
            for quantity in (MASS, HEAT)
            for way in ("across", "down")
        ],
        "quantities": [(q, f"{q}, {'MW' if q == HEAT else 't/h'}") for q in offered],
        "colours": [(kind, NAMES[kind], COLOURS[kind]) for kind in COLOURS if kind in kinds],
    }


def page(
    template: str,
    title: str,
    drawn: list[Figure],
    json_text: str,
    made: datetime.datetime | None,
    **values: Any,
) -> str:
    """A template filled in, with style, scripts and figures. ``made``: the time printed, now unless given."""
    script = asset("report.js") + asset("listed.js")
    content = [{"name": f.name, "choices": f.choices, "layout": f.layout} for f in drawn]
    return _environment().get_template(template).render(
        title=title,
        version=__version__,
        made=f"{made or datetime.datetime.now():%Y-%m-%d %H:%M}",
        policy=_policy(asset("plotly.sha256"), hashlib.sha256(script.encode()).hexdigest()),
        css=Markup(asset("report.css")),
        plotly=packed("plotly.js.gz"),
        script=Markup(script),
        figures=drawn,
        figures_json=script_json(content),
        result_json=json_text,
        **values,
    )  # fmt: skip


@cache
def asset(name: str) -> str:
    """A file of ``report/assets``."""
    return (files("pyrobal.report") / "assets" / name).read_text(encoding="utf-8")


@cache
def packed(name: str) -> str:
    """A file of ``report/assets`` in base64, to be unpacked by the page itself."""
    return base64.b64encode((files("pyrobal.report") / "assets" / name).read_bytes()).decode()


def script_json(value: Any) -> str:
    """JSON that can stand within a script element: no markup can begin in it."""
    text = json.dumps(value, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _policy(*digests: str) -> str:
    """Only scripts of these SHA-256 digests, inline style, images made by the page itself; no request to
    anywhere."""
    digests = tuple(base64.b64encode(bytes.fromhex(digest)).decode() for digest in digests)
    allowed = " ".join(f"'sha256-{digest}'" for digest in digests)
    return (
        f"default-src 'none'; script-src {allowed}; style-src 'unsafe-inline'; img-src data: blob:; "
        "base-uri 'none'; form-action 'none'"
    )


@cache
def _environment() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("pyrobal.report", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {
        "body": _body, "headline": headline, "label": label, "number": number, "numeric": _numeric,
        "parted": _parted, "plain": plain, "quantity": _line_quantity, "text": Part.text,
    }  # fmt: skip
    return environment


def _line_quantity(line: Line) -> str:
    return quantity(line.shown, line.unit)


def _parted(table: Table) -> list[Table]:
    """In pieces that a sheet of paper holds, each with the names of its rows."""
    return parts(table, _PRINTED, _letters)


def _letters(table: Table, i: int) -> int:
    """The least width of a column: headings and names are folded between words, numbers are not."""
    column, cells = table.columns[i], [row[i] for row in table.rows]
    words = [*column.heading.split(), *column.unit.split()]
    named = [min(len(cell), _NAME) for cell in cells if isinstance(cell, str)]
    return 2 + max((*map(len, words), *named, *(len(number(x)) for x in cells if isinstance(x, float))))


def _body(table: Table) -> Markup:
    """The rows; written here because a template is slow at ten thousand cells."""
    rows = ("".join(_cell(value, not i) for i, value in enumerate(row)) for row in table.rows)
    starts = ('<tr class="sum">' if row[0] == "sum" else "<tr>" for row in table.rows)
    return Markup("".join(f"{start}{row}\n" for start, row in zip(starts, rows, strict=True)))


def _cell(value: Cell, first: bool) -> str:
    if not isinstance(value, str):
        return f"<td>{number(value)}"
    if not value:
        return "<td>"  # a row without a name
    text = escape(value) if value.isascii() else f"<bdi>{escape(value)}</bdi>"  # may run from right to left
    return f'<th scope="row">{text}' if first else f'<td class="t">{text}'


def _numeric(table: Table, i: int) -> bool:
    cells = [row[i] for row in table.rows if row[i] != ""]
    return bool(cells) and all(isinstance(cell, float) for cell in cells)


def _trust(result: Result) -> list[Table]:
    """Closures, the solver, checks from outside, and how certain the thermochemical tables are."""
    closures = [line for line in result.lines if line.key.startswith("balance.")]
    return [tables.listing("balance", closures), tables.solution(result), _validation(), _certainty()]


def _validation() -> Table:
    """The checks of this version against published values, counted by topic."""
    found = json.loads(asset("validation.json")).items()
    counts = [(topic, *(float(x[name]) for name in _COUNTS), 100.0 * x["worst"]) for topic, x in found]
    checks, agree, *_ = totals = [sum(row[i] for row in counts) for i in range(1, 1 + len(_COUNTS))]
    every = ("sum", *totals, max(row[-1] for row in counts))
    columns = (Column("topic"), *(Column(heading) for heading in _COUNTS.values()), Column("largest", "%"))
    notes = (
        f"{number(agree, 9)} of {number(checks, 9)} comparisons with published values and independent data "
        "are within their tolerance. Largest: the largest difference as a share of its tolerance. Memory: "
        "the published value was remembered, not looked up. Common practice: a range of the trade without a "
        "source. Each is listed with its source in docs/validation.md.",
    )
    return Table("Checks against outside sources", columns, (*counts, every), notes)


def _certainty() -> Table:
    counts = dict.fromkeys(SEEN, 0)
    for substance in load_substances().values():
        counts[substance.seen] += 1
    rows = tuple((word, float(count)) for word, count in counts.items())
    note = "Of each substance the least certain value; pyrobal substance NAME prints them with their sources."
    return Table("Thermochemical tables", (Column("values"), Column("substances")), rows, (note,))


def _settings(case: Case) -> Table:
    rows = tuple((plain(key), plain(one.text()), one.meaning) for key, one in settings(case.inputs).items())
    return Table("Settings", (Column("setting"), Column("value"), Column("meaning")), rows)
