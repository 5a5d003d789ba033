"""`motion`: displacement, the motion of a piston, and the load on a rod bolt."""

from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse
from buildbook.cli.common import AsJson, BookPath, BuildName, command, new_app, read_option, show_build
from buildbook.records.finding import Finding

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.figures import Figures
    from buildbook.figures.motion import MotionFigures

app = new_app()

_FASTEST = 30_000  # no piston engine is turned faster, so that a number above it is a slip of the keyboard

Speed = Annotated[
    str | None,
    typer.Option(
        "--speed", metavar="RPM", show_default=False, help="The engine's speed; else max_speed of build.yaml."
    ),
]
Every = Annotated[str, typer.Option("--every", metavar="DEGREES", help="The step of the table, from 1 to 90.")]


@command(app, "buildbook motion heron-07/2025-06-first --speed 5200")
def motion(
    build: BuildName = None,
    speed: Speed = None,
    every: Every = "15",
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """Work out what engine.yaml says of the engine's motion: displacement, rod ratio, piston speed and acceleration.

    The motion is that of the exact slider-crank, with the usual two terms beside it. The load on a rod bolt is what
    inertia asks of it, by the parts that were weighed; the bolt maker's figures come first.
    """
    turning = engine_speed(speed) if speed is not None else None
    step = float(read_option(every.strip().removesuffix("°"), "angle", "deg", "--every").worth("deg"))
    if not 1 <= step <= 90:
        raise Misuse(f"--every: a table every {every.strip()[:40]} degrees is none", "give a step from 1 to 90 degrees")
    found: list[MotionFigures] = []

    def look(figures: "Figures") -> list[Finding]:
        from buildbook.figures.motion import NoMotion, motion_figures

        try:
            found.append(motion_figures(figures, turning, step))
        except NoMotion as none:
            why = "Piston motion follows from bore, stroke and rod length."
            return [Finding("error", "no-motion", none.where, none.what, why, none.remedy)]
        return []

    def draw(to: "Console", figures: "Figures") -> None:
        from buildbook.views.motion import draw_motion

        draw_motion(to, figures, found[0])

    def as_figures(figures: "Figures") -> dict[str, object]:
        from buildbook.views.fits_json import motion

        return {"motion": motion(found[0])}

    show_build(build, book, as_json, as_figures, draw, look)


def engine_speed(text: str) -> float:
    """A speed of the engine as typed. Raises Misuse."""
    speed = float(read_option(text.strip(), "speed", "rpm", "--speed").worth("rpm"))
    if not 0 < speed <= _FASTEST:
        remedy = f"give it in rpm, above 0 and up to {_FASTEST}"
        raise Misuse(f"--speed: no engine turns at {text.strip()[:40]} rpm", remedy)
    return speed
