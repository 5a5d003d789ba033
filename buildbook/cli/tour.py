"""`tour`: the whole job, on practice engines."""

import os
import shutil
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse, shown
from buildbook.cli.common import AsJson, command, finish, new_app

if TYPE_CHECKING:
    from rich.console import Console

app = new_app()

BUILD = "heron-07/2026-10-rebuild"

# The change that the audit is to find: a piston of the sealed engine made ten grams heavier.
TOUCHED, AS_WEIGHED, AS_CHANGED = "engines/magpie-02/2026-07-first/weighings.yaml", "P1: 462.31", "P1: 472.31"
PLANT, MEND = f"change {AS_WEIGHED} to {AS_CHANGED}", f"change {AS_CHANGED} back"

STEPS = (
    ("check", "The book is checked first: the files, and what they say together."),
    ("show heron-07", "A rebuild has been weighed. What is done, and what is to do?"),
    ("next heron-07", "And what comes next, with the command for each."),
    ("weighings heron-07", "What was weighed, and what the scale can tell apart."),
    ("match heron-07", "Which pieces together? One piston is locked to its bore; the rest is free."),
    (
        "match heron-07 --with-bores --write --by ava",
        "Pistons differ in size as well. By weight alone one clearance would be too near its limit to tell.",
    ),
    ("place heron-07", "Which set into which cylinder? Here it makes no difference that matters, and that is said."),
    (
        "bobweight heron-07 --set 1=2180.4,2=2180.3,3=2180.5,4=2180.4 --with bench_scale --by tomas",
        "What to hang on each throw while the crankshaft is spun; and what was set, to a tenth of a gram.",
    ),
    ("map heron-07", "The map for the wall at assembly."),
    (
        "measure top_ring_gap 1=0.43 2=0.47 3=0.44 4=0.48 5=0.45 6=0.47 7=0.41 8=0.49 --build heron-07 "
        "--with feeler_gauge --temperature 20.5 --by mika",
        "The rings as they came, each in its own bore: how much is to be filed, and where can the gauge not tell?",
    ),
    (
        "measure top_ring_gap 1=0.48 2=0.48 3=0.47 4=0.48 5=0.49 6=0.48 7=0.47 8=0.49 --build heron-07 "
        "--with feeler_gauge --temperature 20.5 --by mika",
        "Filed, and measured again: the later reading counts, and the first stays readable.",
    ),
    ("fits heron-07", "Every fit that has been measured so far, and what is missing."),
    ("compression heron-07/2025-06-first", "The first build was measured all through; this was its compression."),
    ("shaking magpie-02", "What shakes a V-twin: what its counterweights cancel, and what they cannot."),
    ("factor magpie-02", "And which balance factor would leave it the least."),
    (
        "spin heron-07 --front 12.4@232 --rear 48.6@243 --speed 700 --carrying F1 --by tomas",
        "At the balancing machine: the first spin, taken down as the machine shows it.",
    ),
    ("plan heron-07 --most 2", "Which hole can really be drilled, and what will it leave?"),
    ("correct drill front@232 --diameter 22 --depth 2.0 --build heron-07 --by tomas", "The first hole, as drilled."),
    ("correct drill rear@243 --diameter 22 --depth 15.0 --build heron-07 --by tomas", "And the second."),
    ("spin heron-07 --front 0.6@239 --rear 2.9@239 --speed 700 --by tomas", "Spun again: did it do as predicted?"),
    ("spins heron-07/2025-06-first", "The whole story of the first build, from first spin to verdict."),
    ("prove heron-07/2025-06-first", "What that record proves of the machine, and of a damper that was neutral."),
    ("prove plover-03", "And of a damper on another engine that was not."),
    ("diff heron-07/2025-06-first heron-07", "The same engine then and now: what is another piece, what wore?"),
    ("trace reciprocating_spread heron-07", "Where does that number come from, down to the scale it was read on?"),
    ("sign assembled magpie-02 --by ava", "Another engine is done: its last sign-off seals it."),
    ("audit magpie-02", "Is it what it was when it was sealed?"),
    ("sheet magpie-02 --for customer", "The page that goes with it, to open in a browser and print."),
    (PLANT, "Now somebody changes one digit of one weight, by hand."),
    ("audit magpie-02", "And the audit says which, and where."),
    (MEND, "The digit is put back as it was."),
)


@command(app, "buildbook tour")
def tour(
    path: Annotated[
        Path | None,
        typer.Argument(
            metavar="[PATH]", help="The practice book to make; practice_book if none is named.", show_default=False
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Make a practice book out of the sample engines, and walk through the whole job in it.

    It is a real book in a real git repository, and yours to play with. The engines and their owners are invented.
    """
    book = _make(path or _free())
    os.chdir(book)
    if as_json:
        _as_json(book)

    from buildbook.views.screen import BOLD, DIM, console, line, words

    to = console()
    to.print(line(("A practice book was made in ", BOLD), (str(book), BOLD)), soft_wrap=True)
    to.print(words("Everything in it is invented. To follow by hand, go into that folder first.", DIM))
    for typed, said in STEPS:
        to.print()
        to.rule(style=DIM)
        by_hand = typed in {PLANT, MEND}
        to.print(line((f"# {TOUCHED}: {typed}" if by_hand else f"$ buildbook {typed}", "bold reverse")))
        to.print(words(said, DIM))
        to.print()
        if by_hand:
            _change(book / TOUCHED, *((AS_WEIGHED, AS_CHANGED) if typed == PLANT else (AS_CHANGED, AS_WEIGHED)))
        else:
            _run(typed.split())
    to.print()
    to.rule(style=DIM)
    to.print(
        line(("That is the job. ", BOLD), f"Go on in {book}: 'buildbook --help' lists the commands."), soft_wrap=True
    )


def _free() -> Path:
    return next(
        path for number in count(1) if not (path := Path(f"practice_book{f'_{number}' if number > 1 else ''}")).exists()
    )


def _make(path: Path) -> Path:
    """The sample builds as a book of their own, with the schemas its files point at, under git."""
    from buildbook.book import git
    from buildbook.book.beginning import copy_schemas, write_for_git
    from buildbook.book.places import data_folder

    book = path.absolute()
    if book.exists():
        raise Misuse(f"{shown(book)} is there already", "name a folder that does not exist yet")
    shutil.copytree(data_folder("sample_builds"), book, ignore=shutil.ignore_patterns("schemas"))
    files = [*copy_schemas(book), *write_for_git(book), book / "shop.yaml", book / "engines"]
    try:
        git.begin(book)
        git.keep(book, files, "Begin a practice book")
    except git.NotKept as reason:
        typer.echo(f"not kept in git's history: {reason}", err=True)
    return book


def _change(path: Path, old: str, new: str) -> None:
    """What an editor would do, without a word to anybody."""
    path.write_text(path.read_text(encoding="utf-8").replace(old, new), encoding="utf-8", newline="\n")


def _run(arguments: list[str]) -> None:
    from buildbook.cli.main import app as buildbook

    typer.main.get_command(buildbook)(arguments, prog_name="buildbook", standalone_mode=False)


def _as_json(book: Path) -> None:
    from buildbook.book.reading import Reader
    from buildbook.figures import work_out
    from buildbook.views import as_json

    loaded = Reader(book).load(BUILD)
    assert loaded.build is not None
    figures = work_out(loaded.build)
    all_figures = {"book": str(book), **as_json.build(figures), "match": as_json.match(figures)}
    findings = [*loaded.findings, *figures.findings]

    def nothing(to: "Console") -> None:
        pass

    finish(BUILD, lambda: all_figures, findings, nothing, as_json=True)
