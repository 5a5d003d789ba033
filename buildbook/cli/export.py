"""`export`: the book's records as CSV files or one SQLite file."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse, builds, engines, folder_of, resolve, shown
from buildbook.cli.common import AsJson, BookPath, command, complete_builds, finish, new_app, open_book
from buildbook.records.finding import Finding

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.book.export.rows import Exported

app = new_app()

What = Annotated[
    str | None,
    typer.Argument(
        metavar="[BUILD|ENGINE]", autocompletion=complete_builds, show_default=False,
        help="A build, or an engine with all its builds; the whole book if neither is named.",
    ),
]  # fmt: skip
Csv = Annotated[
    Path | None,
    typer.Option("--csv", metavar="FOLDER", help="Write a folder of CSV files, one a table.", show_default=False),
]
Sqlite = Annotated[
    Path | None, typer.Option("--sqlite", metavar="FILE", help="Write one SQLite file.", show_default=False)
]


@command(app, "buildbook export --sqlite book.sqlite")
def export(
    what: What = None, csv: Csv = None, sqlite: Sqlite = None, book: BookPath = None, as_json: AsJson = False
) -> None:
    """Write the records and the figures as tables for other programs: one row for each reading.

    Numbers are in g, mm and the like, and stand beside them as they were written, digit by digit. The table 'columns'
    says of every column what it holds and in which unit. Void records and those that a later one took the place of
    go out too, with a flag. An export takes the place of an earlier one, and of nothing else; while a file of a build
    holds an error, nothing is written.
    """
    if (csv is None) == (sqlite is None):
        raise Misuse("where to write is not said" if csv is None else "one kind of export at a time",
                     "add --csv FOLDER or --sqlite FILE")  # fmt: skip
    root = open_book(book)
    name = _full_name(root, what)
    findings: list[Finding] = []
    out = _read(root, name, findings)
    if out is None:
        finish(name, dict, findings, _nothing_written, as_json=as_json)
    from buildbook.book.export.exporting import to_csv, to_sqlite

    path = csv or sqlite
    assert path is not None
    counts = to_csv(out, path) if csv else to_sqlite(out, path)

    def as_figures() -> dict[str, object]:
        return {"export": {"csv" if csv else "sqlite": shown(path), "rows": counts}}

    def draw(to: "Console") -> None:
        from buildbook.views.screen import BOLD, line, words

        rows = sum(count for table, count in counts.items() if table != "columns")
        to.print(line(("exported  ", BOLD), shown(path)), soft_wrap=True)
        to.print(words(f"{len(counts)} tables, {rows} rows; what each column says is in the table 'columns'"))

    finish(name, as_figures, findings, draw, as_json=as_json)


def _full_name(root: Path, what: str | None) -> str | None:
    """The engine or the build that is meant; None for the whole book."""
    if what is None:
        return None
    if "/" not in what.strip("/") and what.strip("/") in engines(root):
        return what.strip("/")
    return resolve(root, what, Path.cwd())


def _read(root: Path, name: str | None, findings: list[Finding]) -> "Exported | None":
    """What is to go out; None where a file of it holds an error."""
    from buildbook.book.export.rows import Exported
    from buildbook.book.reading import Reader
    from buildbook.figures import Figures, work_out
    from buildbook.records.read import BUILD_FILES
    from buildbook.views.progress import progress

    reader = Reader(root)
    wanted, _, build = (name or "").partition("/")
    chosen = [each for each in engines(root) if wanted in {"", each}]
    names = [f"{engine}/{each}" for engine in chosen for each in builds(root, engine) if build in {"", each}]
    shop, found = reader.shop()
    about = [reader.engine(each) for each in chosen]
    worked_out: list[Figures] = []
    of_builds: list[Finding] = []
    wrong: dict[str, list[Finding]] = {}
    with progress("working out", len(names)) as step:
        for each in names:
            loaded = reader.load(each)
            of_builds += loaded.findings
            if loaded.build is not None:
                worked_out.append(figures := work_out(loaded.build))
                wrong[each] = [finding for finding in figures.thorough_findings if finding.severity == "error"]
            step()
    of_engines = [finding for _, more in about for finding in more]
    findings += dict.fromkeys((*found, *of_engines, *of_builds))
    known = [each for each, _ in about if each is not None]
    if shop is None or len(known) < len(chosen) or len(worked_out) < len(names):
        return None
    findings += (finding for errors in wrong.values() for finding in errors)
    places = [("shop", root / "shop.yaml"), *(("engine", root / "engines" / each / "engine.yaml") for each in chosen)]
    places += [(kind, folder_of(root, each) / f"{kind}.yaml") for each in names for kind in BUILD_FILES]
    trees = [(path, reader.file(kind, path, needed=False)[0]) for kind, path in places]
    files = [(path.relative_to(root).as_posix(), tree) for path, tree in trees if tree is not None]
    return Exported(shop, known, worked_out, files, frozenset(each for each, errors in wrong.items() if errors))


def _nothing_written(to: "Console") -> None:
    from buildbook.views.screen import BAD, words

    to.print(words("nothing was written, until what was found below is put right", BAD))
