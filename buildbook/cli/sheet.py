"""`sheet`: the printed build sheet."""

from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse
from buildbook.cli.common import AsJson, BookPath, BuildName, command, new_app
from buildbook.cli.printing import AsPdf, PaperOption, To, print_page
from buildbook.records.finding import did_you_mean

if TYPE_CHECKING:
    from buildbook.figures import Figures
    from buildbook.pages.sheet import Reader

app = new_app()

READERS: tuple["Reader", ...] = ("customer", "shop", "wall")

For = Annotated[
    str,
    typer.Option(
        "--for", metavar="customer|shop|wall",
        help="Who reads it: a summary for the customer, everything for the shop, or the map alone for the wall.",
        autocompletion=lambda incomplete: [each for each in READERS if each.startswith(incomplete)],
    ),
]  # fmt: skip


@command(app, "buildbook sheet heron-07/2025-06-first --for customer")
def sheet(
    build: BuildName = None,
    for_: For = "shop",
    to: To = None,
    pdf: AsPdf = False,
    paper: PaperOption = None,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """Print the build sheet as one HTML page that needs no network, for A4 or Letter, in black and white.

    It goes into a file in this folder, heron-07-2025-06-first-customer.html say; one that buildbook printed before is
    printed anew, and any other file is left alone. A build that is not finished is printed too, and says what is
    missing; while a file holds an error, nothing is printed.
    """
    reader = next((each for each in READERS if each == for_), None)
    if reader is None:
        raise Misuse(f"'{for_[:40]}' is nobody known here", did_you_mean(for_, READERS, f"use {', '.join(READERS)}"))

    def make(figures: "Figures", on: str | None) -> str:
        from buildbook.pages.sheet import build_sheet

        return build_sheet(figures, reader, figures.thorough_findings, on)

    print_page(build, book, "sheet", reader, make, to=to, pdf=pdf, paper=paper, as_json=as_json)
