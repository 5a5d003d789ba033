"""`weighings`: what was weighed, and what it says."""

from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse
from buildbook.cli.common import AsJson, BookPath, BuildName, command, new_app, show_build

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.figures import Figures

app = new_app()


def complete_kinds(incomplete: str) -> list[str]:
    from buildbook.records.model import WEIGHING_KINDS

    return [kind for kind in WEIGHING_KINDS if kind.startswith(incomplete)]


Kind = Annotated[
    str | None,
    typer.Option(
        "--kind", metavar="KIND", help="Show every piece of one kind, such as rod_small_end.",
        autocompletion=complete_kinds, show_default=False,
    ),
]  # fmt: skip


@command(app, "buildbook weighings heron-07 --kind piston")
def weighings(build: BuildName = None, kind: Kind = None, book: BookPath = None, as_json: AsJson = False) -> None:
    """Sum up the weighings: count, mean, lightest, heaviest and spread of each kind of piece.

    Beside the spread stands what the scale can tell apart: where the pieces differ by less, sorting them will not
    help. Void sessions are shown struck out and are not used.
    """

    def draw(to: "Console", figures: "Figures") -> None:
        from buildbook.views.weighings import draw_kind, draw_weighings

        if kind is None:
            draw_weighings(to, figures)
        else:
            draw_kind(to, figures.weighings[kind], figures.build.weighings)

    def as_figures(figures: "Figures") -> dict[str, object]:
        from buildbook.views.as_json import weighings

        return {"weighings": weighings(figures)}

    def known_kind(figures: "Figures") -> tuple[()]:
        if kind is not None and kind not in figures.weighings:
            weighed = ", ".join(figures.weighings) or "nothing"
            raise Misuse(f"no '{kind}' has been weighed in {figures.build.name}", f"weighed so far: {weighed}")
        return ()

    show_build(build, book, as_json, as_figures, draw, known_kind)
