"""`compression`: every cylinder's ratio, and what would bring it to a wanted one."""

from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse
from buildbook.cli.common import AsJson, BookPath, BuildName, command, new_app, show_build
from buildbook.cli.fits import IN_THE_TABLES
from buildbook.quantities import QuantityError, read_number
from buildbook.records.finding import Finding

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.figures import Figures
    from buildbook.figures.to_ratio import ToRatio

app = new_app()

# Above this a ratio is a slip of the keyboard: compression ignition itself needs less.
_HIGHEST_RATIO = 30

# What the volumes above a piston are measured as.
_MEASURED = (
    *("chamber_volume", "piston_dish", "ring_land_volume", "deck_height"),
    *("gasket_thickness", "gasket_bore", "cylinder_bore"),
)

_WORKED_OUT = ("compression_ratio", "compression_spread", "quench")

Ratio = Annotated[
    str | None,
    typer.Option(
        "--ratio", metavar="RATIO", show_default=False,
        help="Say what would bring every cylinder to this ratio, such as 9.8.",
    ),
]  # fmt: skip


@command(app, "buildbook compression heron-07/2025-06-first --ratio 9.8")
def compression(build: BuildName = None, ratio: Ratio = None, book: BookPath = None, as_json: AsJson = False) -> None:
    """Work out the compression ratio of every cylinder from what was measured, and how well it is known.

    With --ratio, or where a cylinder is outside the limits of build.yaml, three ways to bring each cylinder there are
    shown, each by itself: another gasket, a cut off the block's face, another chamber volume; and what quench each
    leaves. The dynamic ratio counts the stroke from where the intake valve closes (intake_closes in build.yaml).
    """
    wanted = _ratio(ratio) if ratio is not None else None
    found: list[ToRatio] = []

    def look(figures: "Figures") -> list[Finding]:
        from buildbook.figures.to_ratio import to_ratio

        try:
            change = to_ratio(figures, wanted)
        except ValueError as error:  # sizes in engine.yaml or build.yaml that no crank drive has
            remedy = "correct bore, stroke and rod_length in engine.yaml, and intake_closes in build.yaml"
            raise Misuse(str(error), remedy) from None
        found.extend([change] if change is not None else [])
        if errors := figures.fit_errors(_MEASURED):
            return [*errors]
        from buildbook.figures.fit_rules import limit_findings

        ratios = [fit for fit in figures.fits.fits if fit.kind in _WORKED_OUT]
        volumes = [each for each in figures.fit_findings if each.rule in {"no-volume", "unlikely"}]
        lacking = [each for each in figures.fit_findings if each.rule == "not-measured" and _is_of_it(each)]
        return list(dict.fromkeys([*volumes, *lacking, *limit_findings(figures.build, ratios)]))

    def draw(to: "Console", figures: "Figures") -> None:
        from buildbook.views.compression import draw_compression

        draw_compression(to, figures, found[0] if found else None)

    def as_figures(figures: "Figures") -> dict[str, object]:
        from buildbook.views.fits_json import compression

        return compression(figures, found[0] if found else None)

    show_build(build, book, as_json, as_figures, draw, look, needs_layout=True, drawn=IN_THE_TABLES)


def _is_of_it(finding: Finding) -> bool:
    """Whether what was not measured is a part of the compression."""
    from buildbook.records.model import MEASUREMENT_KINDS

    return any(f"no {MEASUREMENT_KINDS[kind].title} was measured" in finding.what for kind in _MEASURED)


def _ratio(text: str) -> float:
    """A compression ratio as typed, `9.8` or `9.8:1`. Raises Misuse."""
    try:
        ratio = float(read_number(text.strip().removesuffix(":1").strip()))
    except QuantityError as error:
        raise Misuse(f"--ratio: {error.what}", error.remedy) from None
    if not 1 < ratio <= _HIGHEST_RATIO:
        remedy = f"give a ratio above 1, and up to {_HIGHEST_RATIO}, such as 9.8"
        raise Misuse(f"--ratio: no engine has a compression ratio of {text.strip()[:40]}", remedy)
    return ratio
