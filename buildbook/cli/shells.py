"""`shells`: which bearing shells to order, and which halves go to which journal."""

from fractions import Fraction
from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse
from buildbook.cli.common import AsJson, BookPath, BuildName, command, new_app, read_option, show_build
from buildbook.records.finding import Finding, Severity, did_you_mean

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.figures import Figures
    from buildbook.figures.shells import ShellFigures, Wanted

app = new_app()

_WHICH = ("main", "rod", "cam")

# Beyond these [mm] a number is a slip of its unit or of its point; no shell and no oil film is that thick.
_LARGEST_UNDERSIZE = 2
_LARGEST_CLEARANCE = 1

# More of them than any catalogue lists, and every set of three is tried.
_MOST_SIZES = 16


def complete_which(incomplete: str) -> list[str]:
    return [which for which in _WHICH if which.startswith(incomplete)]


Which = Annotated[
    str,
    typer.Argument(
        metavar="main|rod|cam", help="Which bearings.", autocompletion=complete_which, show_default=False,
    ),
]  # fmt: skip
Sizes = Annotated[
    str | None,
    typer.Option(
        "--sizes", metavar="UNDERSIZES", show_default=False,
        help="The undersizes that can be had, such as 0,0.01,0.02; else a shop's usual steps round what is in.",
    ),
]  # fmt: skip
Target = Annotated[
    str | None,
    typer.Option(
        "--target", metavar="CLEARANCE", show_default=False, help="The wanted clearance; else the middle of the limits."
    ),
]
Fitted = Annotated[
    str | None,
    typer.Option(
        "--fitted", metavar="UNDERSIZE", show_default=False,
        help="The undersize of the shells that were in when the bores were measured; else the one of parts.yaml.",
    ),
]  # fmt: skip


@command(app, "buildbook shells main heron-07/2025-06-first --target 0.055")
def shells(
    which: Which,
    build: BuildName = None,
    sizes: Sizes = None,
    target: Target = None,
    fitted: Fitted = None,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """Choose the shells that bring every journal nearest to the wanted clearance, with as few sizes as will do.

    All sets of one, two and three sizes are tried, for all journals together. A size is an undersize: one that is 0.01
    larger closes the clearance by 0.01, and by half of that where only one half shell of the two is of that size. A
    clearance whose uncertainty reaches over its limit says 'cannot tell', as in 'buildbook fits', and other shells are
    taken where they end that doubt. A bare number is in the shop's own unit of length (shop.yaml); 0.0005in carries
    its unit.
    """
    if which not in _WHICH:
        remedy = did_you_mean(which, _WHICH, "say main, rod or cam, and then the build")
        raise Misuse(f"'{which[:40]}' are no bearings", remedy)
    found: list[ShellFigures] = []

    def look(figures: "Figures") -> list[Finding]:
        from buildbook.figures.fits import FIT_KINDS
        from buildbook.figures.shells import BEARINGS, NoShells, shell_figures

        wanted = _wanted(figures, sizes, target, fitted)
        if errors := figures.fit_errors(FIT_KINDS[BEARINGS[which].clearance].needs):
            return [*errors]
        try:
            found.append(shell_figures(figures, which, wanted))
        except NoShells as none:
            where, why = figures.build.files["clearances"], "Shells are chosen for measured clearances."
            return [Finding("error", "no-shells", where, none.what, why, none.remedy)]
        return _misses(found[0])

    def draw(to: "Console", figures: "Figures") -> None:
        from buildbook.views.shells import draw_shells

        draw_shells(to, figures, found[0])

    def as_figures(figures: "Figures") -> dict[str, object]:
        from buildbook.views.fits_json import shells

        return {"shells": shells(found[0])}

    show_build(build, book, as_json, as_figures, draw, look)


def _wanted(figures: "Figures", sizes: str | None, target: str | None, fitted: str | None) -> "Wanted":
    """The numbers as typed. Raises Misuse."""
    from buildbook.figures.shells import Wanted

    unit = figures.build.shop.preferred_units.get("length", "mm")

    def length(text: str, option: str) -> Fraction:
        return read_option(text.strip(), "length", unit, option).worth("mm")

    def undersize(text: str, option: str) -> Fraction:
        size = length(text, option)
        if abs(size) > _LARGEST_UNDERSIZE:
            remedy = f"a bare number is in {unit} here; write the unit with it, such as 0.01mm or 0.0005in"
            raise Misuse(f"{option}: no shell has an undersize of {text.strip()[:40]}", remedy)
        return size

    aim = length(target, "--target") if target is not None else None
    if aim is not None and not 0 < aim < _LARGEST_CLEARANCE:
        remedy = f"a bare number is in {unit} here; write the unit with it, such as 0.05mm or 0.002in"
        raise Misuse(f"--target: no oil clearance is {(target or '').strip()[:40]}", remedy)
    offered = tuple(undersize(each, "--sizes") for each in sizes.split(",")) if sizes is not None else None
    if offered is not None and len(set(offered)) > _MOST_SIZES:
        raise Misuse(f"--sizes: {len(set(offered))} sizes are too many to try", f"offer at most {_MOST_SIZES}")
    return Wanted(aim, undersize(fitted, "--fitted") if fitted is not None else None, offered)


def _misses(found: "ShellFigures") -> list[Finding]:
    """What is found where even the best choice leaves journals outside the limits, or in doubt."""
    best = found.recommended
    severity: Severity = "note" if found.bounds.practice else "warning"
    outside, in_doubt = (
        [fit for fit in found.clearances if fit.place in places] for places in (best.outside, best.in_doubt)
    )
    findings = []
    if outside:
        named = ", ".join(fit.place for fit in outside)
        what = f"no choice of shells brings {found.which} bearing {named} within limits"
        why = "A bearing that is too tight seizes; one that is too loose loses its oil."
        remedy = "offer other sizes (--sizes), or have the journal or the bore machined"
        findings.append(Finding(severity, "shells-miss", outside[0].came_from[0].where, what, why, remedy))
    if in_doubt:
        named = ", ".join(fit.place for fit in in_doubt)
        what = f"no choice of shells brings {found.which} bearing {named} within limits for certain"
        why = "Its uncertainty (k = 2) reaches over the limit, so that neither good nor bad is proven (ISO 14253-1)."
        remedy = "measure bore and journal again, or with better instruments"
        findings.append(Finding(severity, "cannot-tell", in_doubt[0].came_from[0].where, what, why, remedy))
    return findings
