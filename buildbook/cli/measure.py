"""`measure`: record what a gauge showed."""

import csv
import io
import re
import sys
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse
from buildbook.cli.common import (
    AsJson,
    BookPath,
    BuildOption,
    By,
    Note,
    command,
    complete_instruments,
    finish,
    make_record,
    new_app,
    read_option,
)
from buildbook.cli.fits import IN_THE_TABLES
from buildbook.quantities import DIMENSIONS, UNITS
from buildbook.records.finding import did_you_mean

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.book.writing import Value
    from buildbook.figures import Figures
    from buildbook.records.model import Build
    from buildbook.records.tree import MapNode

app = new_app()


def complete_measurements(incomplete: str) -> list[str]:
    from buildbook.records.model import MEASUREMENT_KINDS

    return [kind for kind in MEASUREMENT_KINDS if kind.startswith(incomplete)]


Kind = Annotated[
    str,
    typer.Argument(
        metavar="KIND", help="What was measured, such as main_journal or top_ring_gap; the Tab key lists them.",
        autocompletion=complete_measurements, show_default=False,
    ),
]  # fmt: skip
Readings = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="[PLACE=READINGS]...",
        help="A place and what it read there: 1=0.48, 1/front=62.180,62.179 or P1=101.718. Several readings turn round "
        "the place; a unit may be written, as in 1=0.019in.",
        show_default=False,
    ),
]
With = Annotated[
    str | None,
    typer.Option(
        "--with", metavar="GAUGE", help="The instrument: an id from shop.yaml.",
        autocompletion=complete_instruments, show_default=False,
    ),
]  # fmt: skip
Temperature = Annotated[
    str | None,
    typer.Option(
        "--temperature", metavar="DEGREES", help="Temperature of piece and gauge, in °C if it names no unit.",
        show_default=False,
    ),
]  # fmt: skip
Unit = Annotated[
    str | None,
    typer.Option(
        "--unit", metavar="UNIT", help="What a bare number is in, such as in; else the unit that the file states.",
        show_default=False,
    ),
]  # fmt: skip
Asked = Annotated[
    str | None,
    typer.Option(
        "--asked", metavar="STEPS", help="What a fastener was to be tightened to, step by step, such as 40,80,105.",
        show_default=False,
    ),
]  # fmt: skip
Csv = Annotated[
    str | None,
    typer.Option(
        "--csv", metavar="FILE", help="Read places and readings from a CSV file; - reads standard input.",
        show_default=False,
    ),
]  # fmt: skip

# A place as given, and its readings as typed: where it came from (for messages), its path, the readings.
Given = tuple[str, tuple[str, ...], list[str]]


@command(app, "buildbook measure top_ring_gap 1=0.41 2=0.44 --build heron-07 --with feeler_gauge --by mika")
def measure(
    kind: Kind,
    readings: Readings = None,
    build: BuildOption = None,
    with_: With = None,
    temperature: Temperature = None,
    unit: Unit = None,
    asked: Asked = None,
    csv_file: Csv = None,
    by: By = None,
    note: Note = None,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """Record what a gauge showed, and hold the fits that follow from it against their limits.

    A place is a bearing, throw, cylinder, bank or piece, and may be divided: 1/front, 1/rear, 5/top, 3/intake. In a CSV
    file each line is a place, what divides it if anything does, and its readings: 1,front,62.180,62.179. A first line
    that begins with 'place' names the columns (place, along, within, reading). Readings that cannot be of this engine
    are refused, with the likely cause, and nothing is written.
    """
    from buildbook.records.model import MEASUREMENT_KINDS

    known = MEASUREMENT_KINDS.get(kind)
    if known is None:
        remedy = did_you_mean(kind, MEASUREMENT_KINDS, f"use one of {', '.join(MEASUREMENT_KINDS)}")
        raise Misuse(f"'{kind[:40]}' is no kind of measurement", remedy)
    dimension = known.dimension
    if unit is not None and (unit not in UNITS or UNITS[unit].dimension != dimension):
        raise Misuse(f"--unit: '{unit[:20]}' is no {dimension}", f"use one of {', '.join(DIMENSIONS[dimension])}")
    if asked is not None and not kind.startswith("fastener"):
        raise Misuse(f"--asked says what a fastener was tightened to, and a {known.title} is none", "leave it out")
    given = [*_typed(readings or ()), *(_from_csv(csv_file) if csv_file else ())]
    if not given:
        raise Misuse("there are no readings", f"write PLACE=READINGS, such as {_EXAMPLES.get(dimension, '1=0.48')}")

    def entry(before: "Figures", tree: "MapNode | None") -> "tuple[str, dict[str, Value]]":
        bare = unit or _stated_unit(tree, dimension)
        fields: dict[str, Value] = {"with": gauge(before.build, with_), "what": kind}
        if temperature is not None:
            fields["temperature"] = read_option(_spaced(temperature), "temperature", "degC", "--temperature")
        fields["readings"] = _nested(given, dimension, bare)
        if asked is not None:
            fields["asked"] = _values(asked.split(","), dimension, bare, "--asked")
        return known.title, fields

    recorded = make_record(build, book, by, ("clearances", "sessions"), "M", entry, as_json, note)
    figures = recorded.figures

    def draw(to: "Console") -> None:
        from buildbook.views.fits import draw_what_follows

        recorded.draw(to)
        draw_what_follows(to, figures, kind)

    def as_figures() -> dict[str, object]:
        from buildbook.views.fits_json import filing, fits

        return {"recorded": recorded.id, "fits": fits(figures), "filing": filing(figures)}

    # what is still missing is not the fault of the session that was just taken down
    brought = [finding for finding in recorded.brought if finding.rule != "not-measured"]
    finish(figures.build.name, as_figures, [*recorded.findings, *brought], draw, as_json=as_json, drawn=IN_THE_TABLES)


_EXAMPLES = {"volume": "1=64.2", "torque": "main_1/left=40,80,105", "angle": "R1=90"}


def gauge(build: "Build", given: str | None) -> str:
    """The id of the instrument as given. Raises Misuse where it is not said or not known."""
    known = build.shop.instruments
    if given is None:
        raise Misuse("what it was measured with is not said", f"add --with GAUGE ({', '.join(known) or 'none yet'})")
    if given not in known:
        raise Misuse(f"'{given[:40]}' is no instrument in shop.yaml", did_you_mean(given, known, "add it to shop.yaml"))
    return given


def _stated_unit(tree: "MapNode | None", dimension: str) -> str:
    units = tree.value.get("units") if tree is not None else None
    stated = units.get(dimension) if isinstance(units, dict) else None
    return str(stated) if stated else DIMENSIONS[dimension][0]


def _typed(readings: Iterable[str]) -> Iterator[Given]:
    for text in readings:
        place, equals, values = text.partition("=")
        if not equals or not place.strip() or not values.strip():
            raise Misuse(f"'{text[:40]}' is no place with its readings", "write both, such as 1/front=62.180,62.179")
        yield f"'{text[:40]}'", tuple(place.strip().split("/")), values.split(",")


def _from_csv(name: str) -> Iterator[Given]:
    """Places and readings of a CSV file. Raises Misuse with file and line."""
    text, shown = _text_of(name)
    first = text.partition("\n")[0]
    delimiter = next((mark for mark in (";", "\t") if mark in first), ",")
    lines = csv.reader(io.StringIO(text), delimiter=delimiter)
    columns: list[str] | None = None
    for cells in lines:
        at = f"{shown}:{lines.line_num}"
        cells = [cell.strip() for cell in cells]
        if not any(cells) or cells[0].startswith("#"):
            continue
        if columns is None and cells[0].lower() == "place":
            columns = [cell.lower() for cell in cells]
            continue
        path, values = _columns(cells, columns) if columns else _plain(cells)
        if not values:
            remedy = "add it; a line that names the columns begins with 'place'"
            raise Misuse(f"{at}: there is no reading in this line", remedy)
        if not all(path):
            raise Misuse(f"{at}: no place is named", "begin each line with the place, such as 1 or R5")
        yield at, path, values


def _text_of(name: str) -> tuple[str, str]:
    try:
        content = sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()
        text = content.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
        return text, "standard input" if name == "-" else name
    except OSError as error:
        raise Misuse(f"{name}: {error.strerror}", "name a CSV file that can be read, or - for standard input") from None
    except UnicodeDecodeError:
        raise Misuse(f"{name}: this is no UTF-8 text", "save it as CSV in UTF-8") from None


def _columns(cells: Sequence[str], columns: Sequence[str]) -> tuple[tuple[str, ...], list[str]]:
    named = list(zip(columns, cells, strict=False))
    path = [next((cell for column, cell in named if column == wanted), "") for wanted in ("place", "along", "within")]
    values = [cell for column, cell in named if column.startswith("reading") and cell]
    while len(path) > 1 and not path[-1]:
        path.pop()
    return tuple(path), values


_begins_a_number = re.compile(r"[-+.]?[0-9]").match


def _plain(cells: Sequence[str]) -> tuple[tuple[str, ...], list[str]]:
    """Without named columns: the place, then whatever is no number, then the readings."""
    path = [cells[0]]
    rest = list(cells[1:])
    while rest and len(path) < 3 and rest[0] and not _begins_a_number(rest[0]):
        path.append(rest.pop(0))
    return tuple(path), [cell for cell in rest if cell]


def _spaced(text: str) -> str:
    """`0.019in` as `0.019 in`: no shell needs quotes for it then."""
    return re.sub(r"(?<=[0-9.])(?=[A-Za-z])", " ", text.strip(), count=1)


def _values(texts: Sequence[str], dimension: str, unit: str, where: str) -> "list[Value]":
    """The readings of one place. Raises Misuse."""
    whole = all(re.fullmatch(r"\s*[-+]?\d+\s*[A-Za-z0-9]*\s*", text) for text in texts)
    if dimension in {"length", "volume"} and len(texts) == 2 and whole:
        both = ",".join(texts)
        raise Misuse(f"{where}: {both} is two readings, and looks like one with a decimal comma",
                     "write it with a point; two readings in whole numbers as 62.0,62.0")  # fmt: skip
    return [read_option(_spaced(text), dimension, unit, where) for text in texts]


def _nested(given: Iterable[Given], dimension: str, unit: str) -> "dict[str, Value]":
    """The readings as the ledger has them: place → what divides it → readings. Raises Misuse."""
    nested: dict[str, Value] = {}
    for where, path, texts in given:
        if len(path) > 3 or not all(path):
            raise Misuse(f"{where}: a place is divided twice at most", "write it like 3/intake/10=2.31")
        values = _values(texts, dimension, unit, where)
        inner = nested
        for name in path[:-1]:
            deeper = inner.setdefault(name, {})
            if not isinstance(deeper, dict):
                raise Misuse(f"{where}: {name} is given both whole and divided", "write it one way")
            inner = deeper
        if path[-1] in inner:
            raise Misuse(
                f"{where}: {'/'.join(path)} is given twice", "write all its readings together, as in 1=0.48,0.49"
            )
        inner[path[-1]] = values[0] if len(values) == 1 else values
    return nested
