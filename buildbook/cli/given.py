"""What `weigh` and `measure` share: their options, and readings that are given, as arguments or in a file."""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple, NoReturn

import typer

from buildbook.book.places import Misuse, resolve
from buildbook.cli.common import Recorded, finish, make_record, open_book, read_option, stated_in
from buildbook.quantities import DIMENSIONS, UNITS
from buildbook.records.finding import Where, did_you_mean

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.bench.plan import Plan
    from buildbook.bench.record import Entered
    from buildbook.book.writing import Value
    from buildbook.figures import Figures
    from buildbook.records.model import Build
    from buildbook.records.tree import MapNode

From = Annotated[
    str | None,
    typer.Option(
        "--from", metavar="PORT", show_default=False,
        help="Read the instrument itself: a serial port such as /dev/ttyUSB0, or /dev/ttyUSB0@9600,7E1 to set it up "
        "first; - is standard input.",
    ),
]  # fmt: skip
Csv = Annotated[
    str | None,
    typer.Option(
        "--csv", metavar="FILE", help="Take readings from a CSV file, all of it or none; - reads standard input.",
        show_default=False,
    ),
]  # fmt: skip
DryRun = Annotated[
    bool,
    typer.Option("--dry-run", help="Only show what would be entered, and what is found.", show_default=False),
]
Unit = Annotated[
    str | None,
    typer.Option(
        "--unit", metavar="UNIT", help="What a bare number is in, such as oz or in; else what the file states.",
        show_default=False,
    ),
]  # fmt: skip


class Asked(NamedTuple):
    """What a session was asked for with on the command line, beside its readings."""

    build: str | None
    book: Path | None
    file: str
    what: str
    dimension: str
    only: tuple[str, ...] = ()
    with_: str | None = None
    by: str | None = None
    unit: str | None = None
    note: str | None = None
    temperature: str | None = None
    from_: str | None = None
    as_json: bool = False

    @property
    def prefix(self) -> str:
        return "W" if self.file == "weighings" else "M"


def check_unit(unit: str | None, dimension: str) -> None:
    """Raises Misuse where a unit as given is none of the dimension."""
    if unit is not None and (unit not in UNITS or UNITS[unit].dimension != dimension):
        raise Misuse(f"--unit: '{unit[:20]}' is no {dimension}", f"use one of {', '.join(DIMENSIONS[dimension])}")


def stated_unit(tree: "MapNode | None", dimension: str) -> str:
    """What a bare number in a file is in: what the file states, or else the first unit of its dimension."""
    return stated_in(tree, dimension) or DIMENSIONS[dimension][0]


def unit_of_file(build: "Build", file: str, dimension: str) -> str:
    """What a bare number is in: the unit that the file states, or else the first of its dimension."""
    from buildbook.book.loader import decode, parse
    from buildbook.records.tree import MapNode

    try:
        text, _ = decode(Path(build.files[file].file).read_bytes(), file)
    except FileNotFoundError:
        return DIMENSIONS[dimension][0]
    tree = parse(text, file)[0] if text is not None else None
    return stated_unit(tree if isinstance(tree, MapNode) else None, dimension)


def instrument(build: "Build", with_: str | None, plan: "Plan") -> str:
    """The id of the instrument as given; a scale need not be named where there is only one. Raises Misuse where it is
    not said, not known, or no scale where one is needed."""
    from buildbook.bench.plan import instruments_for

    known, fit = build.shop.instruments, instruments_for(build, plan)
    weighed = plan.file == "weighings"
    if with_ is None and len(fit) == 1 and weighed:
        return fit[0]
    if with_ is None:
        which = ", ".join(fit) or "none in shop.yaml yet"
        raise Misuse("with which instrument is not said", f"add --with {'SCALE' if weighed else 'GAUGE'} ({which})")
    if with_ not in known:
        raise Misuse(f"'{with_[:40]}' is no instrument in shop.yaml", did_you_mean(with_, fit, "add it to shop.yaml"))
    if weighed and with_ not in fit:
        raise Misuse(f"{with_} is no scale", f"name the scale: {', '.join(fit) or 'none yet'}")
    return with_


def opened(root: Path, name: str, *, as_json: bool) -> "tuple[Figures, Build | None]":
    """The build, and the one that it follows. Raises Misuse where nothing could be recorded in it."""
    from buildbook.book import git
    from buildbook.book.reading import Reader
    from buildbook.figures import work_out
    from buildbook.figures.audit_rules import sealed_objection
    from buildbook.views.show import unreadable

    reader = Reader(root)
    loaded = reader.load(name)
    build = loaded.build
    if build is None:
        finish(name, dict, loaded.findings, lambda to: unreadable(to, name), as_json=as_json)
    if (passing := git.passing_state(root)) is not None:
        raise Misuse(passing.what, f"{passing.remedy}; nothing was written")
    if (sealed := sealed_objection(build)) is not None:
        raise Misuse(sealed.what, sealed.remedy)
    return work_out(build), reader.followed(build)


# --- readings that are given -----------------------------------------------------------------------------------------


class Given(NamedTuple):
    """The readings of one piece or place, as given: where they stand, the same in words, and their texts."""

    where: Where
    said: str
    texts: list[str]


_COMMAND_LINE = "command line"  # stands for a file where a reading was typed there


def readings_given(arguments: Sequence[str], csv_file: str | None, dimension: str, example: str) -> dict[str, Given]:
    """Piece or place → its readings, of all that is given. Raises Misuse, which says where, as in `scale.csv:2`."""
    found: dict[str, Given] = {}
    for name, given in (*(_in_file(csv_file) if csv_file is not None else ()), *_typed(arguments, dimension, example)):
        if name in found:
            raise Misuse(f"{given.said}: {name[:40]} is given twice", "write all its readings together, with commas")
        if any(f"{one}/".startswith(f"{other}/") for each in found for one, other in ((name, each), (each, name))):
            raise Misuse(
                f"{given.said}: {name.partition('/')[0][:40]} is given both whole and divided", "write it one way"
            )
        found[name] = given._replace(texts=[spaced(text) for text in given.texts])
        for text in found[name].texts:
            read_option(text, dimension, DIMENSIONS[dimension][0], given.said)  # which unit it is in is known later
    return found


_WITH_A_POINT = frozenset(("mass", "length", "volume"))  # what is seldom read in whole numbers
_whole = re.compile(r"[-+]?\d+\s*[A-Za-z0-9]*").fullmatch


def _typed(arguments: Sequence[str], dimension: str, example: str) -> Iterator[tuple[str, Given]]:
    for number, text in enumerate(arguments, start=1):
        name, _, values = text.partition("=")
        said, texts = f"'{text[:40]}'", [each.strip() for each in values.split(",")]
        if not name.strip() or not all(texts):
            raise Misuse(f"{said} is no name with its readings", f"write both, such as {example}")
        if dimension in _WITH_A_POINT and len(texts) == 2 and all(map(_whole, texts)):
            raise Misuse(f"{said}: {values} is two readings, and looks like one with a decimal comma",
                         "write it with a point; two readings in whole numbers as 62.0,62.0")  # fmt: skip
        yield name.strip(), Given(Where(_COMMAND_LINE, 1, number), said, texts)


def _in_file(name: str) -> Iterator[tuple[str, Given]]:
    from buildbook.bench.table import rows

    found = rows(name)
    if not found:
        raise Misuse(f"{name} holds no reading", "each line is a piece or place and what it read: P1,507.06")
    for row in found:
        file, _, line = row.where.rpartition(":")
        yield row.name, Given(Where(file, int(line), 1), row.where, row.texts)


def spaced(text: str) -> str:
    """`22.4oz` as `22.4 oz`: no shell needs quotes for it then."""
    return re.sub(r"(?<=[0-9.])(?=[A-Za-z])", " ", text.strip(), count=1)


Prepare = Callable[["Figures", str], "tuple[Plan, Entered]"]  # from the build and the unit of a bare number


def record_given(asked: Asked, given: Mapping[str, Given], prepare: Prepare, *, dry_run: bool) -> Recorded:
    """Record a session of readings that are given; or only show it. A finding stands where its reading was given."""
    from buildbook.bench.record import NotWritten, fields, name_of_reading

    def entry(before: "Figures", tree: "MapNode | None") -> "tuple[str, dict[str, Value]]":
        plan, entered = prepare(before, asked.unit or stated_unit(tree, asked.dimension))
        return plan.title, fields(plan, instrument(before.build, asked.with_, plan), entered)

    def came_from(after: "Build", where: Where) -> Where:
        known = given.get(name_of_reading(after, asked.file, where) or "")
        return known.where if known is not None else where

    try:
        if dry_run:
            _show_only(asked, given, prepare)
        where = (asked.file, "sessions")
        return make_record(
            asked.build, asked.book, asked.by, where, asked.prefix, entry, asked.as_json, asked.note, came_from
        )
    except NotWritten as error:
        raise Misuse(error.what, error.remedy) from None


def _show_only(asked: Asked, given: Mapping[str, Given], prepare: Prepare) -> NoReturn:
    """What would be recorded and found, with nothing written. Raises NotWritten."""
    from buildbook.bench.judging import Bench, brought_by

    root = open_book(asked.book)
    figures, _ = opened(root, resolve(root, asked.build, Path.cwd()), as_json=asked.as_json)
    build = figures.build
    plan, entered = prepare(figures, asked.unit or unit_of_file(build, asked.file, asked.dimension))
    with_ = instrument(build, asked.with_, plan)
    first = next(iter(given.values())).where
    found = [
        replace(finding, where=given[name].where if name in given else first)
        for name, findings in brought_by(build, plan, with_, entered).items()
        for finding in findings
    ]

    def draw(to: "Console") -> None:
        from buildbook.views.bench import draw_would_enter

        draw_would_enter(to, Bench(build, plan, with_, entered.unit), entered, found)

    def as_figures() -> dict[str, object]:
        would: dict[str, object] = {"what": asked.what, "with": with_, "unit": entered.unit}
        if entered.total:
            would["lot"] = {"total": list(entered.total), "pieces": entered.pieces, "each": entered.each}
        else:
            would["readings"] = {name: list(texts) for name, texts in entered.readings.items()}
        return {"recorded": None, "would_record": would}

    finish(build.name, as_figures, found, draw, as_json=asked.as_json)
