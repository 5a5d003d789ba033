"""`audit`: was anything touched after it was signed?"""

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import builds, engines, resolve
from buildbook.cli.common import AsJson, BookPath, command, complete_builds, finish, new_app, open_book

if TYPE_CHECKING:
    from rich.console import Console

app = new_app()

What = Annotated[
    str | None,
    typer.Argument(
        metavar="[WHAT]", help="A build, or all builds of an engine; the whole book if nothing is named.",
        autocompletion=complete_builds, show_default=False,
    ),
]  # fmt: skip


@command(app, "buildbook audit heron-07")
def audit(what: What = None, book: BookPath = None, as_json: AsJson = False) -> None:
    """Ask whether anything was touched after it was signed, and whether today's formulas still give what was signed.

    Every sealed build is held against the commit that its seal points at: what changed, when and by whom, at whichever
    bench. Records that came after their sign-off, that are dated before the one above them or in the future, by someone
    unknown or with an instrument out of calibration are named, and so is what was made void, and what shop.yaml says
    otherwise now of who and what a signed build names; and git's own store is checked.
    """
    from buildbook.book.auditing.audit import audit as audited
    from buildbook.views.progress import progress

    root = open_book(book)
    if what is None:
        names = [f"{engine}/{build}" for engine in engines(root) for build in builds(root, engine)]
    elif what.strip("/") in engines(root):
        names = [f"{what.strip('/')}/{build}" for build in builds(root, what.strip("/"))]
    else:
        names = [resolve(root, what, Path.cwd())]
    with progress("auditing", len(names)) as step:
        result = audited(root, names, datetime.now().astimezone(), whole=what is None, step=step)
    findings = [*result.findings, *(finding for each in result.builds for finding in each.findings)]

    def draw(to: "Console") -> None:
        from buildbook.views.audit import draw_audit

        draw_audit(to, result)

    def as_figures() -> dict[str, object]:
        from buildbook.views.audit import audit_json

        return {"audit": audit_json(result)}

    single = names[0] if len(names) == 1 and what is not None else None
    finish(single, as_figures, list(dict.fromkeys(findings)), draw, as_json=as_json)
