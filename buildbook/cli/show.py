"""`show`: the whole build on one screen."""

from typing import TYPE_CHECKING

from buildbook.cli.common import AsJson, BookPath, BuildName, command, new_app, show_build

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.figures import Figures

app = new_app()


@command(app, "buildbook show heron-07")
def show(build: BuildName = None, book: BookPath = None, as_json: AsJson = False) -> None:
    """Show the whole build on one screen: what is done, what is missing, and the findings."""

    def draw(to: "Console", figures: "Figures") -> None:
        from buildbook.views.show import draw_build

        draw_build(to, figures)

    def as_figures(figures: "Figures") -> dict[str, object]:
        from buildbook.views.as_json import build

        return build(figures)

    show_build(build, book, as_json, as_figures, draw)
