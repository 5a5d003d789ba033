"""`map`: which piece goes where."""

from typing import TYPE_CHECKING

from buildbook.cli.common import AsJson, BookPath, BuildName, command, new_app, show_build

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.figures import Figures

app = new_app()


@command(app, "buildbook map heron-07/2025-06-first")
def map_(build: BuildName = None, book: BookPath = None, as_json: AsJson = False) -> None:
    """Show the matching map for assembly: each cylinder with its rod, piston and pin, as seen from the front.

    What is not matched, or has changed since it was matched, stands in a heavy frame and says so.
    """

    def draw(to: "Console", figures: "Figures") -> None:
        from buildbook.views.map import draw_map

        draw_map(to, figures)

    def as_figures(figures: "Figures") -> dict[str, object]:
        from buildbook.views.as_json import pairing

        return {"pairing": pairing(figures)}

    show_build(build, book, as_json, as_figures, draw, needs_layout=True)
