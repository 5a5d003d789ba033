"""`check`: is what the files say in order?"""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse, builds, engines, find_book, resolve, shown
from buildbook.cli.common import AsJson, BookPath, command, complete_builds, finish, new_app, open_book
from buildbook.records.finding import Finding

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.book.reading import Reader

app = new_app()

UNCHECKED = "unchecked"

What = Annotated[
    str | None,
    typer.Argument(
        metavar="[WHAT]", help="A build, an engine or a file; the whole book if nothing is named.",
        autocompletion=complete_builds, show_default=False,
    ),
]  # fmt: skip
Verbose = Annotated[
    bool, typer.Option("--verbose", help="Also say what was read, and by which parser.", show_default=False)
]


@command(app, "buildbook check heron-07/2026-10-rebuild")
def check(what: What = None, book: BookPath = None, verbose: Verbose = False, as_json: AsJson = False) -> None:
    """Check one file, one build or the whole book: the YAML, the schema, and what no schema can see.

    Each finding says where it is (file:line:column), what is wrong, why it matters, and what to do about it.
    """
    from buildbook.book.reading import Reader

    file = Path(what) if what and Path(what).is_file() else None
    root = find_book(file.parent) if file and book is None else open_book(book)
    reader = Reader(root)
    if file:
        names, only = _builds_of_file(root, file), shown(file.absolute())
    else:
        names, only = _builds(root, what), None
    findings = _check(reader, names, everything=what is None)
    findings = [
        finding for finding in findings if only is None or finding.where.file == only or finding.rule == UNCHECKED
    ]

    def draw(to: "Console") -> None:
        from buildbook.views.findings import count_of
        from buildbook.views.screen import BOLD, GOOD, line, words

        checked = f"{only or what or 'the whole book'}: {len(names)} build{'s' if len(names) != 1 else ''}"
        good = not any(finding.severity != "note" for finding in findings)
        to.print(line(("Checked ", BOLD), checked, "  ", (count_of(findings), GOOD if good else BOLD)))
        if verbose:
            from buildbook.book.loader import has_c_parser

            for name in names:
                to.print(words(f"  {name}"))
            to.print(
                words(f"parser: {'C (libyaml)' if has_c_parser() else 'pure Python: slower; the C part is missing'}")
            )

    single = names[0] if len(names) == 1 and what is not None else None
    finish(single, lambda: {"checked": names}, findings, draw, as_json=as_json, with_reasons=True)


def _builds(root: Path, what: str | None) -> list[str]:
    if what is None:
        return [f"{engine}/{build}" for engine in engines(root) for build in builds(root, engine)]
    folder = Path(what).absolute()
    if folder.is_dir() and folder.is_relative_to(root / "engines"):
        what = "/".join(folder.relative_to(root / "engines").parts)
    if what in engines(root):
        return [f"{what}/{build}" for build in builds(root, what)]
    if Path(what).suffix in {".yaml", ".yml"}:
        raise Misuse(f"there is no file {what} here", "name a file, a build, an engine, or nothing for the whole book")
    return [resolve(root, what, Path.cwd())]


def _builds_of_file(root: Path, file: Path) -> list[str]:
    """The builds to work out for what concerns one file: its own, or all of its engine's. Raises Misuse."""
    place = file.absolute().relative_to(root).parts if file.absolute().is_relative_to(root) else ()
    match place:
        case ["shop.yaml"]:
            return []
        case ["engines", engine, "engine.yaml"]:
            return [f"{engine}/{build}" for build in builds(root, engine)]
        case ["engines", engine, build, name] if Path(name).suffix == ".yaml":
            return [f"{engine}/{build}"]
    raise Misuse(f"{file} is not a file of a book", "name shop.yaml, an engine.yaml, or a file of a build")


def _check(reader: "Reader", names: Sequence[str], *, everything: bool) -> list["Finding"]:
    from buildbook.book.reading import strangers
    from buildbook.figures import work_out

    findings = list(reader.shop()[1])
    if everything:
        findings += strangers(reader.book / "engines", ())
        for engine in engines(reader.book):
            findings += reader.engine(engine)[1]
    for name in names:
        loaded = reader.load(name)
        findings += loaded.findings
        if loaded.build is None:
            first = next(finding for finding in loaded.findings if finding.severity == "error")
            what = f"what the files of {name} say together was not checked"
            why = (
                f"It cannot be, until {Path(first.where.file).name} can be read for certain (line {first.where.line})."
            )
            findings.append(Finding("warning", UNCHECKED, first.where, what, why, "mend the errors, then check again"))
        else:
            findings += work_out(loaded.build).thorough_findings
    return list(dict.fromkeys(findings))
