"""`place`: which matched set goes into which cylinder."""

import sys
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from buildbook.book.places import Misuse
from buildbook.cli.common import (
    AsJson,
    BookPath,
    BuildName,
    By,
    command,
    new_app,
    open_book,
    person,
    read_option,
    show_build,
)
from buildbook.cli.deciding import Because, record_decision
from buildbook.records.finding import Finding

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.figures import Figures
    from buildbook.figures.place import PlaceFigures

app = new_app()

Write = Annotated[bool, typer.Option("--write", help="Record the placing in pairings.yaml.", show_default=False)]
WithSpread = Annotated[
    bool,
    typer.Option(
        "--with-spread",
        help="Make the sets up anew as well, within the limit of reciprocating_spread.",
        show_default=False,
    ),
]
Within = Annotated[
    str | None,
    typer.Option("--within", metavar="GRAMS", help="The same, within a spread of so much.", show_default=False),
]
Seconds = Annotated[
    float, typer.Option("--seconds", metavar="SECONDS", min=0.1, max=3600, help="How long the search may take.")
]


@command(app, "buildbook place heron-07 --write --by ava")
def place(
    build: BuildName = None,
    write: Write = False,
    by: By = None,
    because: Because = None,
    with_spread: WithSpread = False,
    within: Within = None,
    seconds: Seconds = 10.0,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """Find which matched set goes into which cylinder, so that the crankshaft is left with the least.

    Bobweights are equal and the parts are not: what each throw carries more or less is left on the crankshaft, and
    which sets share a throw and where they are decides how much of it cancels. Sets stay together as they were
    matched; locked pieces stay where they are, and no piston goes into a bore where its clearance would be outside its
    limit. What is left is shown beside 'as matched' and against the permissible residual, with whether it matters.

    With --with-spread, or --within GRAMS, rods, pistons and pins are put together anew at the same time, as long as the
    reciprocating weights of the cylinders stay within that of one another.
    """
    asked = read_option(within, "mass", "g", "--within").worth("g") if within is not None else None
    found: list[PlaceFigures] = []
    written: list[str] = []

    def draw(to: "Console", figures: "Figures") -> None:
        from buildbook.views.place import LEFT_ALONE, draw_place
        from buildbook.views.screen import BOLD, DIM, line, words

        draw_place(to, figures, found[0])
        if not write and found[0].worth not in LEFT_ALONE:
            to.print(words("Not recorded. 'buildbook place --write' puts it into pairings.yaml.", DIM))
        elif not write and not found[0].decided:
            to.print(words("Not recorded. 'buildbook match --write' puts them into pairings.yaml as matched.", DIM))
        for said in written:
            to.print(line(("recorded  ", BOLD), said))

    def as_figures(figures: "Figures") -> dict[str, object]:
        from buildbook.views.place_json import place

        return {"place": place(figures, found[0])}

    def find(figures: "Figures") -> list[Finding]:
        from buildbook.figures.place import place_figures

        if len(figures.layout.cylinders) > 12 and sys.stderr.isatty():
            typer.echo(f"searching, at most {seconds:g} s …", err=True)
        spread = asked if asked is not None else _limit(figures) if with_spread else None
        placed, findings = worked_out(figures, lambda: place_figures(figures, seconds, spread))
        if placed is None:
            return findings
        found.append(placed)
        if write:
            written.extend(_record(open_book(book), figures, placed, by, because))
        return _over(figures, placed)

    show_build(
        build, book, as_json, as_figures, draw, find,
        wrote=lambda: bool(written), match_seconds=seconds, needs_layout=True,
    )  # fmt: skip


def _limit(figures: "Figures") -> Fraction:
    limit = figures.build.limits.get("reciprocating_spread")
    if limit is None or "max" not in limit.bounds:
        raise Misuse("build.yaml sets no limit on reciprocating_spread", "say how much with --within GRAMS")
    return limit.bounds["max"].worth("g")


Worked = TypeVar("Worked")


def worked_out(figures: "Figures", work: Callable[[], Worked]) -> tuple[Worked | None, list[Finding]]:
    """What is worked out of the sets and the planes, or what keeps it from being worked out."""
    from buildbook.figures.balance import NoBalance
    from buildbook.figures.match import Incomplete
    from buildbook.figures.place import TooUneven
    from buildbook.matching import MatchingError

    files = figures.build.files
    try:
        return work(), []
    except NoBalance as error:
        why = "Without it, what the parts leave cannot be carried to the planes."
        return None, [Finding("error", "no-balance", error.where, error.what, why, error.remedy)]
    except Incomplete as incomplete:
        why, remedy = "A set that is not known could be any weight.", "weigh what is missing, or match again"
        return None, [Finding("error", "cannot-place", files["weighings"], str(incomplete), why, remedy)]
    except TooUneven as error:
        why, remedy = "There is nothing to choose from.", "allow more, or grind: 'buildbook match' shows what"
        return None, [Finding("error", "cannot-place", files["weighings"], str(error), why, remedy)]
    except MatchingError as error:
        why, remedy = "What contradicts itself cannot be placed.", "correct 'locked' in pairings.yaml"
        return None, [Finding("error", "cannot-place", files["pairings"], str(error), why, remedy)]


def _over(figures: "Figures", placed: "PlaceFigures") -> list[Finding]:
    """A limit that even the best placing misses."""
    if not placed.after.over:
        return []
    what = "however the sets are placed, their bobweights being equal leaves more than a limit allows"
    why = "The crankshaft is balanced with bobweights that are not what it will carry."
    remedy = "give each throw its own bobweight ('buildbook bobweight --by-throw'), or match the sets more evenly"
    return [Finding("warning", "placed-over-limit", figures.build.files["pairings"], what, why, remedy)]


def _record(book: Path, figures: "Figures", placed: "PlaceFigures", by: str | None, because: str | None) -> list[str]:
    sets = {name: each.pieces for name, each in placed.cylinders.items()}
    title = f"Place the sets of {figures.build.name}: {placed.moved} moved"
    who = person(figures.build.shop, by)
    return record_decision(book, figures, sets, placed.start.sessions, "place", title, who, because)
