"""`match`: which rod, piston, pin and rings together."""

import sys
from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.cli.common import (
    AsJson,
    BookPath,
    BuildName,
    By,
    command,
    new_app,
    open_book,
    person,
    show_build,
)
from buildbook.cli.deciding import Because, is_decided, record_decision
from buildbook.quantities import fixed
from buildbook.records.finding import Finding

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.figures import Figures
    from buildbook.figures.match import MatchFigures

app = new_app()

Write = Annotated[bool, typer.Option("--write", help="Record the pairing in pairings.yaml.", show_default=False)]
WithBores = Annotated[
    bool,
    typer.Option("--with-bores", help="Match pistons to their bores as well, under both limits.", show_default=False),
]
Seconds = Annotated[
    float, typer.Option("--seconds", metavar="SECONDS", min=0.1, max=3600, help="How long the search may take.")
]


@command(app, "buildbook match heron-07 --write --by ava")
def match(
    build: BuildName = None,
    write: Write = False,
    by: By = None,
    because: Because = None,
    with_bores: WithBores = False,
    seconds: Seconds = 10.0,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """Find the pairing that makes the reciprocating weight as even as it can be, and prove that it is the best.

    Locked pieces (pairings.yaml) stay where they are. Where two pairings are equally even, the one with the evenest
    big ends on each throw is taken, and then the one that moves the fewest pieces. Where the limit is still missed,
    the least grinding that meets it is shown, piece by piece. With --with-bores each piston also goes where its
    clearance is the evenest, and what that costs in weight, if anything, stands beside it.
    """

    def best_of(figures: "Figures") -> "MatchFigures":
        return figures.with_bores.both if with_bores else figures.match

    def draw(to: "Console", figures: "Figures") -> None:
        from buildbook.views.match import draw_match, draw_with_bores
        from buildbook.views.screen import BOLD, DIM, line, words

        if with_bores:
            draw_with_bores(to, figures)
        else:
            draw_match(to, figures)
        best = best_of(figures)
        if is_decided(figures.build.pairings.decision, best.sets, best.sessions) and not write:
            to.print(words("This pairing is the one in pairings.yaml.", DIM))
        elif not write:
            to.print(words("Not recorded. 'buildbook match --write' puts it into pairings.yaml.", DIM))
        for said in written:
            to.print(line(("recorded  ", BOLD), said))

    def as_figures(figures: "Figures") -> dict[str, object]:
        from buildbook.views.as_json import match, with_bores_too

        return {"match": with_bores_too(figures) if with_bores else match(figures)}

    written: list[str] = []

    def find(figures: "Figures") -> list[Finding]:
        if len(figures.layout.cylinders) > 8 and sys.stderr.isatty():
            typer.echo(f"searching, at most {seconds:g} s …", err=True)
        findings = _cannot_match(figures, with_bores)
        if any(finding.severity == "error" for finding in findings) or not write:
            return findings
        best, by_whom = best_of(figures), person(figures.build.shop, by)
        title = f"Match {figures.build.name}: spread {fixed(best.matching.spread, 2)} g"
        written.extend(
            record_decision(open_book(book), figures, best.sets, best.sessions, "match", title, by_whom, because)
        )
        return findings

    show_build(
        build, book, as_json, as_figures, draw, find,
        wrote=lambda: bool(written), match_seconds=seconds, needs_layout=True,
    )  # fmt: skip


def _cannot_match(figures: "Figures", with_bores: bool) -> list[Finding]:
    """What keeps the pieces from being matched; and a limit that even the best pairing misses."""
    from buildbook.figures.match import Incomplete
    from buildbook.matching import MatchingError

    build = figures.build
    try:
        best = figures.match
    except Incomplete as incomplete:
        why, remedy = "A pairing found without it would not be the best.", "weigh what is missing (weighings.yaml)"
        return [Finding("error", "cannot-match", build.files["weighings"], str(incomplete), why, remedy)]
    except MatchingError as error:
        why, remedy = "What contradicts itself cannot be matched.", "correct 'locked' in pairings.yaml"
        return [Finding("error", "cannot-match", build.files["pairings"], str(error), why, remedy)]
    try:
        best = figures.with_bores.both if with_bores else best
    except Incomplete as incomplete:
        why, remedy = "A piston without its bore's size could go anywhere.", "'buildbook measure' takes it down"
        return [Finding("error", "cannot-match", build.files["clearances"], str(incomplete), why, remedy)]
    except MatchingError as error:
        why, remedy = "What contradicts itself cannot be matched.", "correct 'locked' in pairings.yaml"
        return [Finding("error", "cannot-match", build.files["pairings"], str(error), why, remedy)]
    if best.meets_limit is False and best.limit is not None:
        spread, limit = fixed(best.matching.spread, 2), fixed(best.limit, 2)
        alone = figures.match
        what = f"even the best pairing leaves {spread} g, over the limit of {limit} g"
        if with_bores and alone.meets_limit:
            what = (
                f"with the pistons in these bores {spread} g is left, over the limit of {limit} g; by weight alone less"
            )
        why = "A cylinder that is heavier than its fellows shakes the engine at every turn."
        remedy = "grind as shown, replace a piece, or reconsider the limit"
        return [Finding("warning", "limit-missed", build.files["weighings"], what, why, remedy)]
    return []
