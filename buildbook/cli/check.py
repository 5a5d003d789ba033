"""`check`: is what the files say in order?"""

import os
import signal
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from buildbook.book.places import TAKING, Misuse, builds, engines, find_book, folder_of, resolve, shown, top_of
from buildbook.cli.common import AsJson, BookPath, command, complete_builds, finish, new_app, open_book, tidy_up
from buildbook.records.finding import Finding

if TYPE_CHECKING:
    from concurrent.futures import ProcessPoolExecutor

    from rich.console import Console

    from buildbook.book.git import Changed
    from buildbook.book.reading import Reader
    from buildbook.book.standing import Standing

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
Staged = Annotated[
    bool,
    typer.Option(
        "--staged", show_default=False,
        help="Only the errors that what is staged in git would bring, as the hook of a new book asks before a commit; "
        "WHAT is then git's name for a tree, if not what is staged now.",
    ),
]  # fmt: skip


@command(app, "buildbook check heron-07/2026-10-rebuild")
def check(
    what: What = None, book: BookPath = None, staged: Staged = False, verbose: Verbose = False, as_json: AsJson = False
) -> None:
    """Check one file, one build or the whole book: the YAML, the schema, and what no schema can see.

    Each finding says where it is (file:line:column), what is wrong, why it matters, and what to do about it.
    """
    if staged:
        _staged(open_book(book), what, as_json)
    from buildbook.book import standing

    file = Path(what) if what and Path(what).is_file() else None
    root = find_book(file.parent) if file and book is None else open_book(book)
    stands: Standing | None = None
    if what is None:
        answer = standing.ask(root)
        import buildbook.views.findings  # noqa: F401  while git looks

        stands = answer()
    only: str | None = None
    if stands is not None and (known := stands.found_before(standing.WHOLE)) is not None:
        names, findings = stands.builds, known
    else:
        if file:
            names, only = _builds_of_file(root, file), shown(file.absolute())
        else:
            names = _builds(root, what)
        findings = _check(root, names, stands, everything=what is None)
        if only is not None:
            findings = [each for each in findings if each.where.file == only or each.rule == UNCHECKED]
    findings += _not_kept(root, names, file, stands)
    findings += _under_way(root, names, stands)

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


def _staged(root: Path, tree: str | None, as_json: bool) -> NoReturn:
    """What the next commit would bring."""
    from buildbook.book import git
    from buildbook.book.staged import staged_errors

    try:
        names, findings = staged_errors(root, tree)
    except git.NotKept as reason:
        raise Misuse(f"what is staged cannot be told: {reason}", "see 'git status'") from None

    def draw(to: "Console") -> None:
        from buildbook.views.findings import count_of
        from buildbook.views.screen import BOLD, GOOD, line

        checked = f"what is staged: {len(names)} build{'s' if len(names) != 1 else ''}"
        to.print(line(("Checked ", BOLD), checked, "  ", (count_of(findings), BOLD if findings else GOOD)))

    finish(None, lambda: {"checked": names}, findings, draw, as_json=as_json, with_reasons=True)


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


def _under_way(root: Path, names: Sequence[str], stands: "Standing | None") -> Iterator[Finding]:
    """Sessions at the bench that have not become a record yet."""
    folders = stands.under_way if stands else {folder_of(root, name) for name in names}
    for folder in sorted(folders):
        if stands or any(entry.name.endswith(TAKING) for entry in folder.iterdir()):
            from buildbook.bench.journal import notes

            yield from notes(folder)


def _check(root: Path, names: Sequence[str], stands: "Standing | None", *, everything: bool) -> list["Finding"]:
    """All that is found in these builds; not looked for again where it is known to be as it was found before."""
    from buildbook.book.reading import Reader, strangers
    from buildbook.book.standing import WHOLE
    from buildbook.book.sync import undecided
    from buildbook.views.progress import progress

    of_engines = engines(root) if everything else []
    found = {subject: stands.found_before(subject) if stands else None for subject in (*of_engines, *names)}
    unknown = [subject for subject, known in found.items() if known is None]
    findings = [*Reader(root).shop()[1], *undecided.findings(root, root)]
    findings += strangers(root / "engines", ()) if everything else []
    try:
        with progress("checking", len(unknown)) as step:
            for subject, new in _looked_at(root, unknown):
                found[subject] = new
                if stands is not None:
                    stands.remember(subject, new)
                step()
        findings += [finding for each in found.values() for finding in each or ()]
        findings = list(dict.fromkeys(findings))
        if stands is not None:
            stands.remember(WHOLE, findings)
    finally:
        if stands is not None:  # what was done before Ctrl-C need not be done again
            stands.save()
    return findings


_FEW = 16  # builds and engines: to start other processes would take longer than to look at these


def _looked_at(root: Path, subjects: Sequence[str]) -> Iterator[tuple[str, list[Finding]]]:
    """What is found in each engine and build: by as many processes as there are processors, where there are many."""
    from buildbook.book.reading import Reader

    pool = _processes() if len(subjects) > _FEW else None
    if pool is not None:
        some = [subjects[at : at + _FEW] for at in range(0, len(subjects), _FEW)]
        try:
            for found in pool.map(partial(_look_at, root), some):
                yield from found
        except BaseException:
            _until_told()  # a second Ctrl-C would leave the others behind, and wait for them for ever
            raise
        finally:
            pool.shutdown(cancel_futures=True)
        return
    reader = Reader(root)
    for subject in subjects:
        yield subject, _look(reader, subject)


def _processes() -> "ProcessPoolExecutor | None":
    """As many processes as there are processors; None where there is one alone, or the system has none to give."""
    processors = os.cpu_count() or 1
    try:
        from concurrent.futures import ProcessPoolExecutor

        return ProcessPoolExecutor(processors, initializer=_until_told) if processors > 1 else None
    except (ImportError, NotImplementedError, OSError):
        return None


def _until_told() -> None:
    """Ctrl-C reaches every process of a terminal; the first of them stops the others."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _look_at(root: Path, subjects: Sequence[str]) -> list[tuple[str, list[Finding]]]:
    from buildbook.book.reading import Reader

    reader = Reader(root)
    return [(subject, _look(reader, subject)) for subject in subjects]


def _look(reader: "Reader", subject: str) -> list[Finding]:
    from buildbook.book.sync import undecided

    if "/" not in subject:
        return [*reader.engine(subject)[1], *undecided.findings(reader.book, reader.book / "engines" / subject)]
    found = [*_check_build(reader, subject), *undecided.findings(reader.book, folder_of(reader.book, subject))]
    reader.forget(folder_of(reader.book, subject))
    return found


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


def _not_kept(root: Path, names: Sequence[str], file: Path | None, stands: "Standing | None") -> list[Finding]:
    """What was edited and is not in git's history; and what a killed command left, which is removed on the way."""
    from buildbook.book import git

    folders = [] if stands else [folder_of(root, name) for name in names]
    places = stands.unfinished if stands else {root, root / "engines", *(f.parent for f in folders), *folders}
    tidy_up(root, *places)
    amiss = git.trouble(root)
    changes: Sequence[Changed] = stands.changes if stands is not None else ()
    if stands is None and amiss is None:
        under = [file.absolute()] if file else folders or [root / "shop.yaml", root / "engines"]
        said = git.look(root, (*git.STATUS, "--", *(str(path.relative_to(root)) for path in under)))
        changes = git.read_status(root, said[0]) if said else ()
        amiss = None if said else git.situation(root)  # no git on the machine, or a history that is damaged
    if amiss is not None:
        if file is not None and amiss.name in {"no-repository", "inside-another"}:  # of the book, not of one file
            return []
        why = "What is not kept is in no history: a slip from here on could not be taken back."
        return [Finding("note", "not-kept", top_of(root / "shop.yaml"), amiss.what, why, amiss.remedy)]
    if not changes:
        return []
    from buildbook.book import kept

    try:
        return kept.notes(root, changes)
    except git.NotKept:
        return []
