"""`check`: is what the files say in order?"""

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse, builds, engines, find_book, folder_of, resolve, shown, top_of
from buildbook.cli.common import AsJson, BookPath, command, complete_builds, finish, new_app, open_book, tidy_up
from buildbook.records.finding import Finding

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.book.kept import Standing
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
    from buildbook.book import kept

    file = Path(what) if what and Path(what).is_file() else None
    root = find_book(file.parent) if file and book is None else open_book(book)
    standing: Standing | None = None
    if what is None:
        answer = kept.ask(root)
        import buildbook.views.findings  # noqa: F401  while git looks

        standing = answer()
    whole = standing.whole if standing else None
    only: str | None = None
    if standing is not None and standing.is_sound(whole):
        names, findings = standing.builds, []
    else:
        if file:
            names, only = _builds_of_file(root, file), shown(file.absolute())
        else:
            names = _builds(root, what)
        findings = _check(root, names, standing, everything=what is None)
        if standing is not None:
            if not findings:
                standing.remember(whole)
            standing.save()
        if only is not None:
            findings = [each for each in findings if each.where.file == only or each.rule == UNCHECKED]
    findings += _not_kept(root, names, file, standing)

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


def _check(root: Path, names: Sequence[str], standing: "Standing | None", *, everything: bool) -> list["Finding"]:
    """All that is found in these builds; not looked for again where `standing` remembers that there was nothing."""
    from buildbook.book.reading import Reader, strangers

    reader = Reader(root)
    findings = list(reader.shop()[1])
    if everything:
        findings += strangers(reader.book / "engines", ())
        for engine in engines(reader.book):
            findings += _unless_sound(standing, engine, partial(_check_engine, reader, engine))
    for name in names:
        findings += _unless_sound(standing, name, partial(_check_build, reader, name))
    return list(dict.fromkeys(findings))


def _unless_sound(
    standing: "Standing | None", subject: str, check: Callable[[], Sequence[Finding]]
) -> Sequence[Finding]:
    if standing is None:
        return check()
    digest = standing.digest(subject)
    if standing.is_sound(digest):
        return ()
    found = check()
    if not found:
        standing.remember(digest)
    return found


def _check_engine(reader: "Reader", name: str) -> list[Finding]:
    return reader.engine(name)[1]


def _check_build(reader: "Reader", name: str) -> list[Finding]:
    from buildbook.figures import work_out

    loaded = reader.load(name)
    if loaded.build is not None:
        return [*loaded.findings, *work_out(loaded.build).thorough_findings]
    first = next(finding for finding in loaded.findings if finding.severity == "error")
    what = f"what the files of {name} say together was not checked"
    why = f"It cannot be, until {Path(first.where.file).name} can be read for certain (line {first.where.line})."
    return [
        *loaded.findings,
        Finding("warning", UNCHECKED, first.where, what, why, "mend the errors, then check again"),
    ]


def _not_kept(root: Path, names: Sequence[str], file: Path | None, standing: "Standing | None") -> list[Finding]:
    """What was edited and is not in git's history; and what a killed command left, which is removed on the way."""
    from buildbook.book import git, kept

    folders = [] if standing else [folder_of(root, name) for name in names]
    places = standing.unfinished if standing else {root, root / "engines", *(f.parent for f in folders), *folders}
    tidy_up(root, *places)
    amiss = git.trouble(root)
    if amiss is not None:
        if amiss.name in {"no-repository", "inside-another"}:  # somebody does without git, and knows it
            return []
        why = "What is not kept is in no history: a slip from here on could not be taken back."
        return [Finding("note", "not-kept", top_of(root / "shop.yaml"), amiss.what, why, amiss.remedy)]
    if standing is not None:
        changes = standing.changes
    else:
        under = [file.absolute()] if file else folders or [root / "shop.yaml", root / "engines"]
        said = git.look(root, (*git.STATUS, "--", *(str(path.relative_to(root)) for path in under)))
        changes = git.read_status(root, said[0]) if said else []
    try:
        return kept.notes(root, changes) if changes else []
    except git.NotKept:
        return []
