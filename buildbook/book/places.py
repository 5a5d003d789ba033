"""Where things are in a book, and how a builder names them."""

import os
import re
from pathlib import Path

from buildbook.records.finding import Where, did_you_mean

NAME = re.compile(r"[a-z0-9][a-z0-9._-]*")

TAKING = ".taking"  # ends the name of a session at the bench that has not become a record yet
UNFINISHED = ".writing"  # ends the name of what is not in its place yet


def data_folder(name: str) -> Path:
    """A folder of the project's data files, `schemas` or `sample_builds`: in the wheel, or beside the package."""
    package = Path(__file__).resolve().parent.parent
    inside = package / name
    return inside if inside.is_dir() else package.parent / name


def cache_folder() -> Path:
    """Where what was found out before is kept, for this user."""
    try:
        home = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    except RuntimeError:  # a user without a home: nothing can be kept below a device
        home = os.devnull
    return Path(home) / "buildbook"


class Misuse(Exception):
    """A command that cannot be carried out as given: what is wrong, and the remedy."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(f"{what}: {remedy}")
        self.what = what
        self.remedy = remedy


def shown(path: Path) -> str:
    """A path as an editor started here would want it: relative where it lies below the current folder."""
    relative = os.path.relpath(path)
    return str(path) if relative.startswith("..") else relative


def top_of(path: Path) -> Where:
    return Where(shown(path), 1, 1)


def find_book(start: Path) -> Path:
    """The book that a folder belongs to: the nearest folder upward that holds a shop.yaml."""
    start = start.absolute()
    if not start.is_dir():
        raise Misuse(f"there is no folder {shown(start)}", "name the book's folder, or go there and name none")
    for folder in (start, *start.parents):
        if (folder / "shop.yaml").exists():
            return folder
    raise Misuse(
        f"there is no book at {shown(start)}, nor above it",
        "go to your book's folder, or name it with --book PATH; 'buildbook new book PATH' begins one",
    )


def engines(book: Path) -> list[str]:
    return _folders(book / "engines")


def builds(book: Path, engine: str) -> list[str]:
    return _folders(book / "engines" / engine)


def _folders(parent: Path) -> list[str]:
    try:
        return sorted(entry.name for entry in parent.iterdir() if entry.is_dir() and not entry.name.startswith("."))
    except OSError:  # not there, or nobody may look: reading its files says which
        return []


def folder_of(book: Path, build: str) -> Path:
    engine, _, name = build.partition("/")
    return book / "engines" / engine / name


def resolve(book: Path, name: str | None, here: Path) -> str:
    """The full name of a build, `heron-07/2026-10-rebuild`.

    `heron-07` alone means its newest build; no name means the build, or the engine, whose folder `here` is in.
    Raises Misuse with the nearest names where there is no such build.
    """
    if name is None:
        name = _name_of_folder(book, here)
    engine, _, build = name.strip("/").partition("/")
    known = engines(book)
    if engine not in known:
        _no_such("engine", engine, known, "buildbook new engine NAME")
    inside = builds(book, engine)
    if not build:
        if not inside:
            raise Misuse(f"{engine} has no build yet", f"begin one with 'buildbook new build {engine}/NAME'")
        opened = {each: _opened(book, f"{engine}/{each}") for each in inside}
        unread = [each for each, day in opened.items() if day is None]
        if unread and len(inside) > 1:
            what = f"which build of {engine} is its newest is not certain: build.yaml of {unread[0]} cannot be read"
            raise Misuse(what, f"mend it ('buildbook check {engine}/{unread[0]}'), or name the build that is meant")
        return f"{engine}/{max(inside, key=lambda each: (opened[each] or '', each))}"
    if build not in inside:
        _no_such("build", build, inside, f"buildbook new build {engine}/NAME", f"{engine}/")
    return f"{engine}/{build}"


def _no_such(what: str, name: str, known: list[str], begin: str, before: str = "") -> None:
    names = [before + each for each in known]
    otherwise = f"see what there is: {', '.join(names[:12])}" if names else f"begin one with '{begin}'"
    remedy = did_you_mean(before + name, names, otherwise)
    raise Misuse(f"there is no {what} named '{before}{name[:60]}' in this book", remedy)


def _name_of_folder(book: Path, here: Path) -> str:
    try:
        inside = here.absolute().relative_to(book / "engines").parts
    except ValueError:
        inside = ()
    if inside:
        return "/".join(inside[:2])
    names = [f"{engine}/{build}" for engine in engines(book) for build in builds(book, engine)]
    if len(names) == 1:
        return names[0]
    if not names:
        raise Misuse("this book has no build yet", "begin with 'buildbook new engine NAME', then 'buildbook new build'")
    listed = ", ".join(names[:12]) + (", …" if len(names) > 12 else "")
    raise Misuse("which build is meant is not said", f"name one: {listed}")


def _opened(book: Path, build: str) -> str | None:
    """The day a build was opened, for finding the newest; None where its build.yaml cannot be read."""
    from buildbook.book.loader import decode, parse
    from buildbook.records.tree import TextNode

    try:
        text, _ = decode((folder_of(book, build) / "build.yaml").read_bytes(), "build.yaml")
    except FileNotFoundError:
        return ""
    except OSError:
        return None
    root = parse(text, "build.yaml")[0] if text is not None else None
    if root is None:
        return None
    opened = root.get("opened")
    return opened.text if isinstance(opened, TextNode) else ""
