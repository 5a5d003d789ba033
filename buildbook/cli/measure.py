"""`measure`: measure place by place at the keyboard or from the gauge; or take sizes down as given, or from a file."""

from collections.abc import Mapping, Sequence
from functools import partial
from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse
from buildbook.cli.bench import record_entered
from buildbook.cli.common import (
    AsJson,
    BookPath,
    BuildOption,
    By,
    Note,
    command,
    complete_instruments,
    finish,
    new_app,
    read_option,
)
from buildbook.cli.completing import complete_places
from buildbook.cli.fits import IN_THE_TABLES
from buildbook.cli.given import Asked, Csv, DryRun, From, Given, Unit, check_unit, spaced
from buildbook.records.finding import did_you_mean

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.bench.plan import Plan
    from buildbook.bench.record import Entered
    from buildbook.figures import Figures

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
        metavar="[PLACE[=READINGS]]...",
        help="A place and what it read there: 1=0.48, 1/front=62.180,62.179 or P1=101.718. Several readings turn round "
        "the place; a unit may be written, as in 1=0.019in. Without readings, each place is asked for in turn.",
        autocompletion=complete_places,
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
Steps = Annotated[
    str | None,
    typer.Option(
        "--asked", metavar="STEPS", help="What a fastener was to be tightened to, step by step, such as 40,80,105.",
        show_default=False,
    ),
]  # fmt: skip


@command(app, "buildbook measure top_ring_gap 1=0.41 2=0.44 --build heron-07 --with feeler_gauge --by mika")
def measure(
    kind: Kind,
    readings: Readings = None,
    build: BuildOption = None,
    with_: With = None,
    from_: From = None,
    temperature: Temperature = None,
    unit: Unit = None,
    asked: Steps = None,
    csv_file: Csv = None,
    dry_run: DryRun = False,
    by: By = None,
    note: Note = None,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """Record what a gauge showed, and hold the fits that follow from it against their limits.

    At a terminal without readings it asks place by place, with the keys of 'buildbook weigh'; each reading is on disk
    as it is taken, and the same command goes on where it was stopped.

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
    check_unit(unit, dimension)
    if temperature is not None:
        temperature = spaced(temperature)
        read_option(temperature, "temperature", "degC", "--temperature")
    if asked is not None and not kind.startswith("fastener"):
        raise Misuse(f"--asked says what a fastener was tightened to, and a {known.title} is none", "leave it out")
    wanted = Asked(
        build, book, "clearances", kind, dimension, (), with_, by, unit, note, temperature, from_, as_json
    )  # fmt: skip
    prepared = partial(_prepared, kind, temperature, asked.split(",") if asked is not None else ())
    recorded = record_entered(
        wanted, readings or (), csv_file, prepared, {"--asked": asked is not None},
        example=_EXAMPLES.get(dimension, "1=0.48"), dry_run=dry_run,
    )  # fmt: skip
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


def _prepared(
    kind: str, temperature: str | None, steps: Sequence[str], given: Mapping[str, Given], figures: "Figures", unit: str
) -> "tuple[Plan, Entered]":
    """Sizes as given, as a session. Raises Misuse."""
    from buildbook.bench.plan import Plan
    from buildbook.bench.record import Entered
    from buildbook.records.model import MEASUREMENT_KINDS

    known = MEASUREMENT_KINDS[kind]
    for place, each in given.items():
        if not 0 < len(place.split("/")) <= 3 or not all(place.split("/")):
            raise Misuse(f"{each.said}: a place is divided twice at most", "write it like 3/intake/10=2.31")
    plan = Plan("clearances", kind, known.title, known.dimension, (), None, {}, {}, again=False)
    texts = {place: each.texts for place, each in given.items()}
    return plan, Entered(unit, texts, temperature=temperature, steps=[spaced(step) for step in steps])
