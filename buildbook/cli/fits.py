"""`fits`: every clearance against its limit."""

from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse
from buildbook.cli.common import AsJson, BookPath, BuildName, command, new_app, show_build
from buildbook.cli.completing import complete_places
from buildbook.records.finding import Finding, did_you_mean

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.figures import Figures

app = new_app()

# What these rules find stands in the tables, with the figure itself.
IN_THE_TABLES = ("fit", "cannot-tell", "not-measured")


def complete_fits(incomplete: str) -> list[str]:
    from buildbook.figures.fits import FIT_KINDS

    return [kind for kind in FIT_KINDS if kind.startswith(incomplete)]


Kind = Annotated[
    str | None,
    typer.Option(
        "--kind", metavar="KIND", help="Show one kind of fit alone, such as main_clearance.",
        autocompletion=complete_fits, show_default=False,
    ),
]  # fmt: skip
At = Annotated[
    str | None,
    typer.Option(
        "--at", metavar="PLACE", help="Show one place alone: a cylinder, a bearing or a piece, such as 5 or R5.",
        autocompletion=complete_places, show_default=False,
    ),
]  # fmt: skip


@command(app, "buildbook fits heron-07/2025-06-first --kind piston_clearance")
def fits(
    build: BuildName = None, kind: Kind = None, at: At = None, book: BookPath = None, as_json: AsJson = False
) -> None:
    """Show every clearance, gap and form of the build against its limit, worst first, with what it came from.

    Sizes are brought to 20 °C where the temperature was taken down and the material is known. A figure whose
    uncertainty reaches over its limit says 'cannot tell': measure again, or with a better instrument. Limits are those
    of build.yaml; where there is none, a rule of thumb is offered and marked 'common practice'. What misses a limit of
    build.yaml, or cannot be told from it, is a finding (exit 1), and so is what was measured at some places and not at
    others; what misses a rule of thumb is a note, and so is what nobody has begun to measure.
    """
    from buildbook.figures.fits import FIT_KINDS

    if kind is not None and kind not in FIT_KINDS:
        remedy = did_you_mean(kind, FIT_KINDS, f"use one of {', '.join(FIT_KINDS)}")
        raise Misuse(f"'{kind[:40]}' is no kind of fit", remedy)

    def draw(to: "Console", figures: "Figures") -> None:
        from buildbook.views.fits import draw_fits

        draw_fits(to, figures, kind, at)

    def as_figures(figures: "Figures") -> dict[str, object]:
        from buildbook.views.fits_json import fasteners, filing, fits

        return {"fits": fits(figures, kind), "filing": filing(figures), "fasteners": fasteners(figures)}

    def findings(figures: "Figures") -> tuple[Finding, ...]:
        known = {fit.place.partition(" ")[0] for fit in figures.fits.fits} | {
            each.place for each in figures.fits.missing
        }
        if at is not None and at not in known | {fit.place for fit in figures.fits.fits}:
            raise Misuse(
                f"nothing was measured at '{at[:40]}'", did_you_mean(at, sorted(known), "see 'buildbook fits'")
            )
        return figures.fit_findings

    show_build(build, book, as_json, as_figures, draw, findings, drawn=IN_THE_TABLES)
