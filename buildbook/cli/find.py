"""`find`: engines and builds by owner, serial, part, date, words or figures."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse
from buildbook.cli.common import AsJson, BookPath, command, finish, new_app, open_book, the_shop
from buildbook.records.finding import did_you_mean, nearest

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.book.library import Search
    from buildbook.figures.query import Condition
    from buildbook.records.model import Shop

app = new_app()

Words = Annotated[
    list[str],
    typer.Argument(
        metavar="WORDS", help="Words, dates such as 2026-10, or conditions in quotes: 'residual > 1 g'.",
        show_default=False,
    ),
]  # fmt: skip


@command(app, "buildbook find ferry 'main_clearance < 0.045'")
def find(words: Words, book: BookPath = None, as_json: AsJson = False) -> None:
    """Look engines and builds up; all that is asked must hold, and each one found says why it was.

    A word is looked for in what the files say of owner, serials, family, parts, piece ids, purpose, in who did what
    with which instrument, and in every note, whether large or small letters; one of one or two characters must be a
    whole word. A date finds what was opened, done or signed then. A condition holds if any place satisfies it
    (residual, main_journal) or the one named (residual.front, main_journal.3); a bare number is in the unit in which
    figures are shown; = means equal to the digits written, and the others go by the figure before it is rounded.
    Nothing found is no fault (exit 0); a build that cannot be read is (exit 1).
    """
    from buildbook.book.library import Library
    from buildbook.views.progress import progress

    root = open_book(book)
    if not all(each.strip() for each in words):
        raise Misuse("there is nothing to look for in an empty word", "give a word, a date or a condition")
    compared = [each for each in words if any(sign in each for sign in "<>=≤≥")]
    plain = [each for each in words if each not in compared]
    shop = the_shop(root) if compared else None
    conditions = [_condition(each, shop) for each in compared] if shop else []
    library = Library(root)
    with progress("searching", len(library.engines)) as step:
        search = library.find(plain, conditions, step)
    _refuse_unknown_places(conditions, search)

    def draw(to: "Console") -> None:
        from buildbook.views.find import draw_found

        draw_found(to, search, plain, conditions, shop)

    def as_figures() -> dict[str, object]:
        from buildbook.views.find_json import found

        return {"found": found(search)}

    finish(None, as_figures, search.findings, draw, as_json=as_json)


def _condition(text: str, shop: "Shop") -> "Condition":
    from buildbook.figures.query import KINDS, QueryError, UnknownKind, read_condition

    try:
        return read_condition(text, shop.preferred_units)
    except UnknownKind as error:
        near = nearest(error.kind, KINDS)
        raise Misuse(error.what, f"did you mean {near}?" if near else f"use one of {', '.join(KINDS)}") from None
    except QueryError as error:
        raise Misuse(error.what, error.remedy) from None


def _refuse_unknown_places(conditions: "Sequence[Condition]", search: "Search") -> None:
    """A place that no build has, where some builds have others of its kind, is a slip."""
    for each in conditions:
        places = [name for name in sorted(search.names) if name.partition(".")[0] == each.kind]
        if each.place and places and each.name not in places:
            remedy = did_you_mean(each.name, places, f"use one of {', '.join(places[:12])}")
            raise Misuse(f"no build has a figure named '{each.name[:60]}'", remedy)
