"""`shaking`: the free forces and moments of the engine."""

from typing import TYPE_CHECKING

from buildbook.cli.common import AsJson, BookPath, BuildName, command, new_app, show_build
from buildbook.cli.motion import Speed, engine_speed

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.figures import Figures
    from buildbook.figures.shaking import Shaking

app = new_app()


@command(app, "buildbook shaking heron-07/2025-06-first --speed 3000")
def shaking(
    build: BuildName = None,
    speed: Speed = None,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """Work out what shakes the engine: free inertia forces and moments, of first and second order and all together.

    First for the layout alone, in the units of handbooks; then with the masses of this build, in N and N·m, as the
    crankshaft is balanced, by the exact motion of the pistons and beside it by the usual series of two terms. What
    turns with the crankshaft a counterweight can cancel; what turns against it, it cannot.
    """
    turning = engine_speed(speed) if speed is not None else None

    def of(figures: "Figures") -> "Shaking":
        from buildbook.figures.shaking import Shaking

        return Shaking(figures, turning)

    def draw(to: "Console", figures: "Figures") -> None:
        from buildbook.views.shaking import draw_shaking

        draw_shaking(to, figures, of(figures))

    def as_figures(figures: "Figures") -> dict[str, object]:
        from buildbook.views.shaking import shaking_json

        return {"shaking": shaking_json(of(figures))}

    show_build(build, book, as_json, as_figures, draw, needs_layout=True)
