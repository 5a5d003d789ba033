"""Whatever a book says in free text is text: on a screen, in JSON, in a page, in a table, and for the Tab key.

The sample books with a hostile text in every field that takes one, and every command run over them.
"""

import csv
import json
import re
import shutil
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from tempfile import mkdtemp
from typing import NamedTuple

import pytest
from conftest import SAMPLES
from rich.cells import cell_len

from buildbook.book.loader import parse
from buildbook.cli.main import COMMANDS
from buildbook.records.tree import ListNode, MapNode, Node, TextNode
from cli.test_completion import completed
from cli.workshop import Shown, git, one_after_the_other

# "aZq" or "Zqa" is what is left of the first where its markup was taken for markup; ":warning:" would be an emoji.
_MARKS = (
    "a[bold red]Zq[/bold red]a [link=https://example.org]:warning: <script>alert(1)</script> <img src=x onerror=a()> "
    "\"quoted' &amp; \x1b[31mred\x1b[0m \x1b]0;title\x07 \x9b2J \u202egnidaer\u202c \u2066\u200f\u200e "
    "\u05d0\u05d1\u05d2 {0} %s"
)
TEXTS = [
    f"=HYPERLINK(1) {_MARKS}",
    f"@SUM(1) {_MARKS}",
    f"+cmd|' /C calc'!A0 {_MARKS}",
    f"-2+3 {_MARKS} {'long' * 60}",
    f"[/] {_MARKS} {'many words and more ' * 20}end",
    f"\ufeff=1+1 {_MARKS}",
]

AUTHOR = TEXTS[0].replace("<", "(").replace(">", ")")  # git takes the others away

# A field of these names holds free text, wherever it stands; a person's `name` in shop.yaml also goes to git.
FREE = {
    *("name", "place", "ref", "contact", "description", "purpose", "use", "note", "because", "source", "maker"),
    *("number", "serial", "material", "certificate", "role", "retained_by", "version"),
}

BUILD = "heron-07/2025-06-first"
OPEN = "heron-07/2026-10-rebuild"

# Every command there is, but for the tour, whose book is its own. Those that write stand in the order of the job.
LOOKING = (
    *("check", "check shop.yaml", f"check {BUILD} --verbose", f"show {BUILD}", f"show {OPEN}", "show plover-03"),
    *(f"next {OPEN}", "next --all", f"weighings {BUILD}", f"weighings {BUILD} --kind rod", f"match {OPEN}"),
    *(f"place {OPEN}", f"place {BUILD}", f"map {BUILD}", "map plover-03", f"fits {BUILD}", f"fits {OPEN}"),
    *(f"fits {BUILD} --kind piston_clearance", f"shells main {BUILD} --target 0.055", f"compression {BUILD}"),
    *(f"motion {BUILD}", f"layout {BUILD}", "layout dunlin-21", f"shaking {BUILD}", "factor magpie-02"),
    *(f"bobweight {BUILD}", "bobweight dunlin-21", f"spins {BUILD}", "spins plover-03", f"plan {BUILD}"),
    *(
        "plan plover-03",
        f"prove {BUILD}",
        "prove plover-03",
        "history dunlin-21",
        "history heron-07",
        f"history {BUILD}",
    ),
    *(f"diff {BUILD} {OPEN}", f"diff {OPEN}", f"trace bobweight_target {BUILD}", f"trace main_clearance.5 {BUILD}"),
    *("find HYPERLINK", "find Zq", "find long", "trend main_clearance heron-07", "audit", "audit heron-07"),
    "trace piston_clearance.3 plover-03",
)
SAID = TEXTS[0]
WRITING: tuple[list[str], ...] = (
    ["keep", "--by", "ava"],
    ["weigh", "piston", "P1=507.06", "--build", OPEN, "--with", "fine_scale", "--by", "mika", "--note", SAID],
    ["measure", "top_ring_gap", "1=0.41", "--build", OPEN, "--with", "feeler_gauge", "--by", "mika", "--note", SAID],
    ["match", OPEN, "--write", "--by", "ava"],
    ["place", OPEN, "--write", "--by", "ava"],
    ["bobweight", OPEN, "--set", "1=2180.4,2=2180.3,3=2180.4,4=2180.5", "--with", "bench_scale", "--by", "ava"],
    ["spin", OPEN, "--front", "9.2@212", "--rear", "64@48", "--speed", "700", "--by", "ava", "--note", SAID],
    ["correct", "drill", "rear@48", "--diameter", "22", "--depth", "19", "--build", OPEN, "--by", "ava"],
    ["trial", "--first", "8.5@60 6.5@205", "--trial", "left 10@270: 6.0@125 4.5@230",
     "--trial", "right 12@180: 6.0@35 10.5@160"],
    ["sign", "measured", OPEN, "--by", "ava", "--note", SAID],
    ["reopen", BUILD, "--because", SAID, "--by", "ava"],
    ["new", "engine", "wren-01", "--layout", "i4", "--by", "ava"],
    ["new", "build", "heron-07/2027-01-next", "--follows", BUILD, "--by", "ava"],
    ["new", "book", "another", "--shop", SAID, "--person", "ava"],
    ["sync", "--remote", "origin"],
    ["export", "--csv", "tables"],
    ["export", "--sqlite", "tables.sqlite"],
)  # fmt: skip
PRINTING = (
    *(["sheet", BUILD, "--for", whom, "--to", f"{whom}.html"] for whom in ("customer", "shop", "wall")),
    ["labels", BUILD, "--to", "labels.html"],
)
ASKED_WRONG: tuple[list[str], ...] = (
    [SAID], ["show", SAID], ["show", f"heron-07/{SAID}"], ["check", SAID], ["find", SAID],
    ["fits", BUILD, "--kind", SAID],
    ["trace", SAID, BUILD], ["weigh", SAID], ["weigh", "piston", f"{SAID}=1", "--build", OPEN], ["sign", SAID, OPEN],
    ["--\x1b[31m"], ["match", OPEN, "--\x1b[31m"], ["new", SAID], ["correct", SAID],
    ["spin", OPEN, "--front", SAID, "--by", "ava"], ["new", "engine", SAID, "--layout", "i4", "--by", "ava"],
    ["new", "engine", "x", "--layout", SAID], ["new", "build", SAID], ["keep", "--by", SAID],
    ["diff", SAID, SAID], ["history", SAID], ["sync", "--remote", SAID], ["sheet", BUILD, "--to", f"{SAID[:60]}.html"],
    ["match", OPEN, f"--{SAID}"], ["trend", SAID, "heron-07"], ["shells", SAID, BUILD], ["plan", BUILD, "--bit", SAID],
    ["reopen", SAID, "--because", "x"], ["check", "--staged", SAID],
    ["layout", "--name", SAID], ["labels", SAID],
)  # fmt: skip


class Workshop(NamedTuple):
    book: Path
    screens: dict[str, Shown]
    json: dict[str, Shown]


def hostile(text: str, name: str) -> str:
    """The text of a ledger file with a hostile text in every field that takes free text."""
    root, findings = parse(text, name)
    assert root is not None, findings
    changes: list[tuple[int, int, str]] = []

    def free() -> str:
        return json.dumps(TEXTS[len(changes) % len(TEXTS)])

    def walk(node: Node, path: tuple[str, ...]) -> None:
        if isinstance(node, ListNode):
            for item in node.items:
                walk(item, path)
        if not isinstance(node, MapNode):
            return
        for field, inner in node.items():
            if isinstance(inner, TextNode):
                if field in FREE or path[-1:] == ("serials",):
                    changes.append((inner.start, inner.end, free()))
            else:
                walk(inner, (*path, field))
        marker = node.values.get("id")
        if path in {("sessions",), ("steps",), ("sign_offs",)} and "note" not in node.values:
            assert isinstance(marker, TextNode)
            between = ", " if node.flow else "\n" + " " * (node.keys["id"].where.column - 1)
            changes.append((marker.end, marker.end, f"{between}note: {free()}"))

    walk(root, ())
    for start, end, new in sorted(changes, reverse=True):
        text = text[:start] + new + text[end:]
    return text


def hostile_book(root: Path) -> Path:
    """A copy of the sample books: first as they are, then with hostile texts, committed by somebody hostile."""
    shutil.copytree(SAMPLES, root)
    git(root, "init", "--quiet", "--initial-branch=main")
    git(root, "add", "--all")
    git(root, "commit", "--quiet", f"--author={AUTHOR} <a@example.org>", f"--message={TEXTS[1]}\n\n{TEXTS[2]}")
    git(root, "init", "--quiet", "--bare", "remote.git")
    git(root, "remote", "add", "origin", str(root / "remote.git"))
    (root / ".git" / "info" / "exclude").write_text("remote.git\n")
    for path in sorted(root.glob("engines/**/*.yaml")):
        if "2026-05-first" not in path.parts:  # one engine stays, for the sentences about what was not kept
            path.write_bytes(hostile(path.read_text(encoding="utf-8"), path.name).encode())
    path = root / "shop.yaml"
    path.write_bytes(hostile(path.read_text(encoding="utf-8"), path.name).encode())
    git(root, "commit", "--all", "--quiet", f"--message={TEXTS[3]}")
    weighings = root / "engines" / OPEN / "weighings.yaml"
    text = weighings.read_text(encoding="utf-8")
    first = re.search(r"^( +)by: \w+\n", text, re.MULTILINE)
    assert first is not None
    weighings.write_bytes(
        f"{text[: first.end()]}{first[1]}void: {json.dumps(TEXTS[4])}\n{text[first.end() :]}".encode()
    )
    return root


def words(command: str | Sequence[str]) -> list[str]:
    return command.split(" ") if isinstance(command, str) else [*command]


@cache
def shown() -> Workshop:
    """Every command's screen, and its JSON in a copy of the book of its own."""
    book = hostile_book(Path(mkdtemp()) / "book")
    other = Path(shutil.copytree(book, book.parent / "other"))
    every = [words(each) for each in (*LOOKING, *ASKED_WRONG, *WRITING, *PRINTING)]
    names = [" ".join(each) for each in every]
    with ThreadPoolExecutor() as both:
        screens = both.submit(one_after_the_other, every, book)
        as_json = one_after_the_other([[*each, "--json"] for each in every], other)
    return Workshop(book, dict(zip(names, screens.result(), strict=True)), dict(zip(names, as_json, strict=True)))


def steering(text: str) -> set[str]:
    """What in a text could steer a terminal, or turn a line round."""
    return {mark for mark in text if not mark.isprintable()} - {"\n"}


def texts_in(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        yield from (text for pair in value.items() for each in pair for text in texts_in(each))
    elif isinstance(value, Sequence):
        yield from (text for each in value for text in texts_in(each))


def test_every_command_is_run() -> None:
    names = {words(each)[0] for each in (*LOOKING, *WRITING, *PRINTING)}
    assert {*COMMANDS} - names == {"tour"}
    for name, each in shown().screens.items():
        assert each.code in {0, 1, 2}, (name, each)
        assert shown().json[name].code == each.code, name
        assert "Traceback" not in each.stderr + shown().json[name].stderr
    done = [" ".join(words(each)) for each in (*LOOKING, *WRITING, *PRINTING)]
    assert [name for name in done if shown().screens[name].code == 2] == []
    asked = [" ".join(each) for each in ASKED_WRONG]
    assert [name for name in asked if shown().screens[name].code != 2] == []


def test_nothing_that_a_book_says_steers_a_terminal() -> None:
    for of in (shown().screens, shown().json):
        for name, each in of.items():
            assert steering(each.stdout) == set() == steering(each.stderr), name


def test_markup_in_a_text_is_shown_as_it_is() -> None:
    met = 0
    for name, each in shown().screens.items():
        said = each.stdout + each.stderr
        assert not re.search("aZq|Zqa|\N{WARNING SIGN}", said), name
        met += "[bold red]Zq[/bold red]" in said
    assert met > 30


_PLACE = r"(error|warning|note)  .+:\d+:\d+  "


def test_no_line_is_wider_than_the_screen_but_for_the_place_of_a_finding() -> None:
    for name, each in shown().screens.items():
        for line in (each.stdout + each.stderr).splitlines():
            assert cell_len(line) <= 80 or re.match(f"{_PLACE}|Error: ", line), (name, line)  # typer's own error


def test_json_keeps_every_text_to_the_letter() -> None:
    kept = set()
    for name, each in shown().json.items():
        if each.code == 2:
            continue
        said = json.loads(each.stdout)
        for text in texts_in(said["figures"]):
            if "[bold red]Zq" in text and "…" not in text:
                kept |= (of := {one for one in (*TEXTS, AUTHOR) if one in text})
                assert of, (name, text)
    assert kept == {*TEXTS, AUTHOR}


class Tags(HTMLParser):
    """The tags of a page with their attributes' names, and what a reader sees."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: set[tuple[str, str]] = set()
        self.seen = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags |= {(tag, ""), *((tag, name) for name, _ in attrs)}

    def handle_data(self, data: str) -> None:
        self.seen += data


def test_no_text_becomes_a_tag_or_an_attribute_of_a_page(tmp_path: Path) -> None:
    for path in (SAMPLES / "engines", SAMPLES / "shop.yaml"):
        (shutil.copytree if path.is_dir() else shutil.copy)(path, tmp_path / path.name)
    one_after_the_other(PRINTING, tmp_path)
    for each in PRINTING:
        ours = Tags((tmp_path / each[-1]).read_text(encoding="utf-8"))
        page = Tags((shown().book / each[-1]).read_text(encoding="utf-8"))
        assert page.tags <= ours.tags | {("wbr", ""), ("bdi", "class")}  # long words
        if each[0] == "sheet" and "wall" not in each:  # the others show no free text
            assert "[bold red]Zq[/bold red]" in page.seen
            assert "<script>alert(1)</script>" in page.seen
        assert steering(page.seen) == set()


def test_no_cell_of_a_table_runs_as_a_formula_and_sqlite_keeps_every_text() -> None:
    cells = [
        cell
        for path in (shown().book / "tables").glob("*.csv")
        for row in csv.reader(path.read_text(encoding="utf-8-sig").splitlines(keepends=True))
        for cell in row
    ]
    assert any("HYPERLINK" in cell for cell in cells)
    formula = re.compile(r"[\s\ufeff]*[=+@\t\r-]")
    assert [cell for cell in cells if formula.match(cell) and not re.fullmatch(r"[+-]?[\d.]+(e-?\d+)?", cell)] == []
    with closing(sqlite3.connect(shown().book / "tables.sqlite")) as database:
        tables = [name for (name,) in database.execute("select name from sqlite_master where type = 'table'")]
        kept = {cell for table in tables for row in database.execute(f'select * from "{table}"') for cell in row}
    assert {*TEXTS} <= kept


# What no schema allows: then the findings quote it.
WRONG = {
    "parts.yaml": f"format: 1\n{json.dumps(TEXTS[0])}: 1\nparts:\n  - {{kind: rod, ids: [{json.dumps(TEXTS[1])}]}}\n",
    "weighings.yaml": f"format: 1\nsessions:\n  - id: {json.dumps(TEXTS[2])}\n    by: {json.dumps(TEXTS[3])}\n"
    f"    what: {json.dumps(TEXTS[4])}\n    readings: {{{json.dumps(TEXTS[0])}: {json.dumps(TEXTS[1])}}}\n",
    "spins.yaml": f"format: 1\nsteps:\n  - {{id: S1, {json.dumps(TEXTS[3])}: {json.dumps(TEXTS[4])}}}\n",
    "pairings.yaml": f"format: 1\ncylinders: {{{json.dumps(TEXTS[0])}: {{rod: R1}}}}\n",
    "clearances.yaml": f"format: {json.dumps(TEXTS[0])}\nsessions: [{json.dumps(TEXTS[1])}, &a *b]\n",
    "\x1b[31m\u202e<b>.yaml": "format: 1\n",
}


@pytest.fixture
def wrong(tmp_path: Path) -> Path:
    """A book whose ids, names of fields, files and folders are hostile."""
    book = Path(shutil.copytree(SAMPLES, tmp_path / "wrong"))
    for name, text in WRONG.items():
        (book / "engines" / OPEN / name).write_text(text, encoding="utf-8")
    (book / "engines" / "\x1b[31m\u202eeel").mkdir()
    (book / "engines" / "heron-07" / "2027-\x1b[31m[bold]\u202eeel").mkdir()
    shop = book / "shop.yaml"
    shop.write_text(shop.read_text().replace("people:\n", f"people:\n  {json.dumps(TEXTS[0])}: {{name: x}}\n"))
    return book


def test_what_a_finding_quotes_is_text_too(wrong: Path) -> None:
    looking = ("check", f"check {OPEN}", f"show {OPEN}", "next --all", "find Zq", "audit", "history heron-07", "show x")
    every = [words(each) for each in looking]
    for each in one_after_the_other([*every, *([*one, "--json"] for one in every)], wrong):
        assert each.code in {1, 2}
        assert steering(each.stdout) == set() == steering(each.stderr)
        assert not re.search("aZq|Zqa", each.stdout)
        for line in () if each.stdout.startswith("{") else (each.stdout + each.stderr).splitlines():
            assert cell_len(line) <= 80 or re.match(_PLACE, line), line


@pytest.mark.parametrize("line", ["show ", "show heron-07/", "weigh piston --by ", "weigh piston --with "])
def test_the_tab_key_offers_nothing_that_steers_a_terminal(wrong: Path, line: str) -> None:
    for shell in ("bash", "zsh", "fish"):
        assert steering("".join(completed(f"buildbook {line}", wrong, shell))) == set()
