"""`reopen`: open a signed build again, on the record."""

from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse
from buildbook.cli.common import (
    AsJson,
    BookPath,
    BuildName,
    By,
    command,
    finish,
    make_record,
    new_app,
    open_book,
)
from buildbook.cli.sign import edited

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.book.writing import Value
    from buildbook.figures import Figures
    from buildbook.records.tree import MapNode

app = new_app()

Because = Annotated[
    str | None,
    typer.Option("--because", metavar="WHY", help="Why the build has to be opened again.", show_default=False),
]


@command(app, "buildbook reopen heron-07/2025-06-first --because 'head gasket of another thickness' --by ava")
def reopen(
    build: BuildName = None,
    because: Because = None,
    by: By = None,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """Open a signed build again, and say why. What was signed stays on the record; from now on changes are expected,
    until the build is signed again.
    """
    why = (because or "").strip()
    if not why:
        raise Misuse("why the build has to be opened again is not said", "add --because 'WHY'")

    def entry(before: "Figures", tree: "MapNode | None") -> "tuple[str, dict[str, Value]]":
        from buildbook.figures.audit_rules import reopening_of

        signed = before.build.sign_offs
        if not signed:
            raise Misuse(f"{before.build.name} was never signed", "go on: there is nothing to open again")
        opened = reopening_of(before.build, signed[-1])
        if opened is not None:
            raise Misuse(f"{before.build.name} is open already ({opened.id}: {opened.because})", "go on, and sign it")
        told = "What changed before it was opened again was no change on the record."
        loose = edited(open_book(book), before.build.name, told)
        if loose:
            finish(before.build.name, dict, loose, _not_opened, as_json=as_json)
        named: dict[str, Value] = {"sign_off": signed[-1].id} if signed[-1].id else {}
        return "opened again", {**named, "because": why}

    recorded = make_record(build, book, by, ("build", "reopened"), "O", entry, as_json, None)
    name = recorded.figures.build.name

    def draw(to: "Console") -> None:
        from buildbook.views.screen import words

        recorded.draw(to)
        to.print(words(f"{name} is open again; sign it off when the change is made"))

    def as_figures() -> dict[str, object]:
        return {"recorded": recorded.id, "sign_off": recorded.figures.build.reopened[-1].sign_off, "because": why}

    finish(name, as_figures, [*recorded.findings, *recorded.figures.findings], draw, as_json=as_json)


def _not_opened(to: "Console") -> None:
    from buildbook.views.screen import BAD, words

    to.print(words("not opened again: this must be put right first", BAD))
