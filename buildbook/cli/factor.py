"""`factor`: the balance factor that leaves the least."""

from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse
from buildbook.cli.common import AsJson, BookPath, BuildName, command, new_app, show_build
from buildbook.cli.motion import Speed, engine_speed
from buildbook.records.finding import did_you_mean

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.figures import Figures
    from buildbook.figures.shaking import FactorFigures, Shaking

app = new_app()

Least = Annotated[
    str | None,
    typer.Option(
        "--least", metavar="WHAT", show_default=False,
        help="What is to be least: force, vertical, horizontal, moment, moment_vertical or moment_horizontal. Else the "
        "force, or where no factor changes that, the moment.",
    ),
]  # fmt: skip


@command(app, "buildbook factor magpie-02 --least vertical")
def factor(
    build: BuildName = None,
    least: Least = None,
    speed: Speed = None,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """Find the balance factor that leaves the least force or moment in a turn, by the exact motion of the pistons.

    With what every other factor would leave, the one of this build and 50 per cent among them, and why. Where something
    is not weighed or no speed is known, it is worked out for pistons that are all alike.
    """
    turning = engine_speed(speed) if speed is not None else None
    if least is not None:
        from buildbook.balance.shaking import SIDES

        if least not in SIDES:
            remedy = did_you_mean(least, SIDES, f"use one of {', '.join(SIDES)}")
            raise Misuse(f"--least: '{least[:40]}' is nothing that is worked out", remedy)

    def of(figures: "Figures") -> "tuple[Shaking, FactorFigures]":
        from buildbook.figures.shaking import Shaking

        shaking = Shaking(figures, turning)
        return shaking, shaking.factor(least)

    def draw(to: "Console", figures: "Figures") -> None:
        from buildbook.views.factor import draw_factor

        draw_factor(to, figures, *of(figures))

    def as_figures(figures: "Figures") -> dict[str, object]:
        from buildbook.views.factor import factor_json

        return {"factor": factor_json(of(figures)[1])}

    show_build(build, book, as_json, as_figures, draw, needs_layout=True)
