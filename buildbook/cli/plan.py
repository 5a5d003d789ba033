"""`plan`: the hole that can really be drilled."""

from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.cli.common import AsJson, BookPath, BuildName, command, new_app, open_book, read_option, show_build
from buildbook.cli.spins import cannot_tell
from buildbook.cli.steps import remember_cuts
from buildbook.records.finding import Finding

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.balance.cutting import Bit
    from buildbook.balance.plans import Plan
    from buildbook.figures import Figures

app = new_app()

Leave = Annotated[
    float | None,
    typer.Option(
        "--leave", metavar="PER_CENT", min=0, max=90, show_default=False,
        help="The share left on purpose, since metal does not go back; 5 unless the build says otherwise.",
    ),
]  # fmt: skip
Bits = Annotated[
    list[str] | None,
    typer.Option(
        "--bit", metavar="MM[:POINT]", show_default=False,
        help="A bit to use, such as 22 or 22:135; else those of shop.yaml. May be given again.",
    ),
]  # fmt: skip
PlugDensity = Annotated[
    float | None,
    typer.Option("--plug", metavar="DENSITY", show_default=False, help="Also plan plugs of heavy metal [g/cm3]."),
]
Holes = Annotated[
    int, typer.Option("--holes", metavar="NUMBER", min=1, max=8, help="At most so many holes side by side.")
]
Most = Annotated[int, typer.Option("--most", metavar="NUMBER", min=1, max=20, help="Show at most so many plans.")]


@command(app, "buildbook plan heron-07 --leave 5 --bit 22 --bit 16:135")
def plan(
    build: BuildName = None,
    leave: Leave = None,
    bit: Bits = None,
    plug: PlugDensity = None,
    holes: Holes = 4,
    most: Most = 4,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """List the real ways to correct the last spin, best first: bits, places and depths.

    Metal may be taken in the windows of each plane (spins.yaml), as deep and wide as they say, clear of the
    holes that are there, also from the builds before. The geometry is exact: a hole's middle moves inward as it
    deepens, its point is a cone, and the rim is round. The rule of thumb stands beside it.
    """
    found: list[Plan] = []
    share: list[float] = []

    def look(figures: "Figures") -> list[Finding]:
        from buildbook.figures.corrections import NoWay, correction_plans, shop_bits

        findings = cannot_tell(figures)
        if any(finding.rule == "no-balance" for finding in findings):
            return findings
        remember_cuts(open_book(book), figures)
        chosen = figures.build.balance.leave
        share.append((leave if leave is not None else float(chosen) if chosen is not None else 5.0) / 100)
        bits = [_bit(each) for each in bit or []] or shop_bits(figures.build)
        try:
            found.extend(correction_plans(figures.balance, bits, share[0], plug, holes)[:most])
        except NoWay as no_way:
            findings += no_way.findings
        return findings

    def draw(to: "Console", figures: "Figures") -> None:
        from buildbook.views.plan import draw_plans

        draw_plans(to, figures, found, share[0])

    def as_figures(figures: "Figures") -> dict[str, object]:
        from buildbook.views import balance_json

        return {"plans": balance_json.plans(figures, found)}

    show_build(build, book, as_json, as_figures, draw, look)


def _bit(text: str) -> "Bit":
    """A bit as typed: `22`, or `22:135` with the angle of its point. Raises Misuse."""
    from buildbook.balance.cutting import Bit
    from buildbook.figures.balance import DRILL_POINT

    size, _, point = text.partition(":")
    diameter = float(read_option(size, "length", "mm", "--bit").worth("mm"))
    return Bit(diameter, float(read_option(point, "angle", "deg", "--bit").worth("deg")) if point else DRILL_POINT)
