"""What `sheet` and `labels` share: a page made from a build, and where it goes: a file, a PDF, standard output."""

import os
import re
import subprocess
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from shutil import which
from typing import TYPE_CHECKING, Annotated, Literal, NoReturn

import typer

from buildbook.book.places import Misuse, resolve, shown
from buildbook.cli.common import open_book, show_build
from buildbook.records.finding import Finding, did_you_mean

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.figures import Figures

Paper = Literal["A4", "letter"]
PAPERS = ("A4", "letter")

CHROMIUMS = ("chromium", "chromium-browser", "google-chrome")
_SECONDS = 60

To = Annotated[
    str | None,
    typer.Option(
        "--to", metavar="FILE", show_default=False,
        help="Where to print it; a name in this folder that says what it is if none is given. '-' is standard output.",
    ),
]  # fmt: skip
AsPdf = Annotated[
    bool, typer.Option("--pdf", help="Print a PDF; needs a Chromium on this machine.", show_default=False)
]
PaperOption = Annotated[
    str | None,
    typer.Option(
        "--paper", metavar="A4|letter", show_default=False,
        help="The paper; else the printer decides, and a PDF is A4.",
        autocompletion=lambda incomplete: [each for each in PAPERS if each.lower().startswith(incomplete.lower())],
    ),
]  # fmt: skip


def print_page(
    name: str | None,
    book: Path | None,
    what: str,
    reader: str,
    make: "Callable[[Figures, str | None], str]",
    *,
    to: str | None,
    pdf: bool,
    paper: str | None,
    as_json: bool,
) -> NoReturn:
    """Make a page of a build, for one of its readers where it has several, and put it where it is to go.

    A build with an error in its files, spins or fits is shown as any other command shows it, and nothing is printed.
    """
    paper = _paper(paper)
    pdf = pdf or (to or "").lower().endswith(".pdf")
    printed: dict[str, object] = {}
    if pdf and (to or "").lower().endswith((".html", ".htm")):
        raise Misuse(f"{to} is the name of a page, and a PDF is asked for", "name it .pdf, or leave --pdf out")
    if to == "-" and (pdf or as_json):
        raise Misuse(
            f"{'a PDF' if pdf else 'JSON beside a page'} cannot go to standard output", "name a file: --to FILE"
        )

    def thorough(figures: "Figures") -> Sequence[Finding]:
        return (*figures.spin_findings, *figures.fit_findings)

    if to == "-":
        _to_standard_output(name, book, make, paper)

    def put(figures: "Figures") -> dict[str, object]:
        if not printed:
            path = place_for(figures.build.name, reader or what, to, ".pdf" if pdf else ".html")
            page = make(figures, paper or ("A4" if pdf else None))
            content = pdf_of(page) if pdf else page.encode()
            write(path, content)
            printed["file"] = shown(path)
            printed.update({"for": reader} if reader else {})
            printed.update({"pages": pages_of(content)} if pdf else {})
        return printed

    def draw(to_screen: "Console", figures: "Figures") -> None:
        from buildbook.views.screen import BOLD, line, words

        done = put(figures)
        pages = f"  {done['pages']} page{'s' if done['pages'] != 1 else ''}" if "pages" in done else ""
        to_screen.print(line(("printed  ", BOLD), str(done["file"]), pages), soft_wrap=True)
        if not pdf:
            to_screen.print(words("Open it in any browser to read or print it."))

    show_build(name, book, as_json, lambda figures: {what: put(figures)}, draw, thorough)


def _paper(paper: str | None) -> str | None:
    if paper is None:
        return None
    known = {each.lower(): each for each in PAPERS}
    if paper.lower() not in known:
        raise Misuse(
            f"'{paper[:40]}' is no paper known here", did_you_mean(paper, PAPERS, f"use {' or '.join(PAPERS)}")
        )
    return known[paper.lower()]


def place_for(build: str, kind: str, to: str | None, suffix: str) -> Path:
    """Where a page goes. Raises Misuse where something else is there already."""
    usual = f"{build.replace('/', '-')}-{kind}{suffix}"
    path = Path(to) if to is not None else Path(usual)
    if path.is_dir():
        path = path / usual
    if not path.absolute().parent.is_dir():
        raise Misuse(f"there is no folder {shown(path.absolute().parent)}", "make it first, or name another: --to FILE")
    if path.exists() and not is_ours(path):
        what = f"{shown(path)} is there already, and was not printed by buildbook"
        raise Misuse(what, "name another file: --to FILE; nothing was written")
    return path


def is_ours(path: Path) -> bool:
    """Whether a file is a page that was printed before, which the next one may take the place of."""
    from buildbook.pages.html import MARK

    if not path.is_file():
        return False
    with path.open("rb") as file:
        begin = file.read(4096)
        if begin.startswith(b"<!doctype html>"):
            return MARK.encode() in begin
        return begin.startswith(b"%PDF-") and MARK.encode() in begin + file.read()


def write(path: Path, content: bytes) -> None:
    from buildbook.book.writing import replace

    replace(path, content)


def _to_standard_output(
    name: str | None, book: Path | None, make: "Callable[[Figures, str | None], str]", paper: str | None
) -> NoReturn:
    """The page alone on standard output; findings go to standard error."""
    from buildbook.book.reading import Reader
    from buildbook.figures import work_out
    from buildbook.views.findings import count_of, draw_findings
    from buildbook.views.screen import console, words

    root = open_book(book)
    full_name = resolve(root, name, Path.cwd())
    loaded = Reader(root).load(full_name)
    figures = work_out(loaded.build) if loaded.build else None
    findings = [*loaded.findings, *(figures.thorough_findings if figures else ())]
    held_up = figures is None or any(
        each.severity == "error" for each in (*figures.spin_findings, *figures.fit_findings)
    )
    to_error = console(error=True)
    if figures is None or held_up:
        from buildbook.views.show import unreadable

        unreadable(to_error, full_name)
    else:
        typer.echo(make(figures, paper), nl=False)
    told = [each for each in findings if each.severity != "note"]
    if told:
        draw_findings(to_error, told, with_reasons=False)
        to_error.print(words(count_of(told), "bold"))
    raise typer.Exit(1 if told else 0)


def pdf_of(page: str) -> bytes:
    """A page printed to PDF by a Chromium of this machine, which is shown this page alone and nothing of the user's.
    Raises Misuse where there is none, or where it does not do it."""
    found = next((path for each in CHROMIUMS if (path := which(each))), None)
    if found is None:
        remedy = f"install Chromium ({', '.join(CHROMIUMS)}), or leave --pdf out and print the page from any browser"
        raise Misuse("no Chromium is found on this machine, and a PDF needs one", remedy)
    otherwise = "leave --pdf out, and print the page from any browser; nothing was written"
    with tempfile.TemporaryDirectory(prefix="buildbook-", ignore_cleanup_errors=True) as folder:
        source, result = Path(folder) / "page.html", Path(folder) / "page.pdf"
        source.write_text(page, encoding="utf-8")
        command = [
            found, "--headless", "--disable-gpu", "--no-first-run", "--disable-extensions", "--disable-sync",
            "--disable-background-networking", "--no-pdf-header-footer", f"--user-data-dir={folder}/profile",
            *(["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []),
            f"--print-to-pdf={result}", source.as_uri(),
        ]  # fmt: skip
        try:
            done = subprocess.run(command, capture_output=True, timeout=_SECONDS, check=False, stdin=subprocess.DEVNULL)
        except subprocess.TimeoutExpired:
            raise Misuse(f"{found} did not print the page within {_SECONDS} seconds", otherwise) from None
        if not result.exists() or not (content := result.read_bytes()).startswith(b"%PDF-"):
            last = (done.stderr.decode(errors="replace").strip().splitlines() or ["it said nothing"])[-1]
            raise Misuse(f"{found} did not print the page: {last[:200]}", otherwise)
    return content


def pages_of(pdf: bytes) -> int:
    """How many pages a PDF of Chromium's has."""
    return len(re.findall(rb"/Type\s*/Page\b", pdf))
