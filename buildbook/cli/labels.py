"""`labels`: tags for the pieces."""

from typing import TYPE_CHECKING

from buildbook.cli.common import AsJson, BookPath, BuildName, command, new_app
from buildbook.cli.printing import AsPdf, PaperOption, To, print_page

if TYPE_CHECKING:
    from buildbook.figures import Figures

app = new_app()


@command(app, "buildbook labels heron-07/2025-06-first")
def labels(
    build: BuildName = None,
    to: To = None,
    pdf: AsPdf = False,
    paper: PaperOption = None,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """Print tags for rods, pistons, pins and ring sets, to be cut out and tied on.

    Each says which piece it is and what it weighs, which cylinder it goes into and with what, and has an arrow to be
    laid towards the front of the engine. Pieces that are not matched, and spares, have a tag that says so.
    """

    def make(figures: "Figures", on: str | None) -> str:
        from buildbook.pages.labels import label_sheet

        return label_sheet(figures, on)

    print_page(build, book, "labels", "", make, to=to, pdf=pdf, paper=paper, as_json=as_json)
