"""Begins books, engines and builds: commented files that point editors at their schemas."""

import re
import shutil
import tempfile
from collections.abc import Container, Mapping
from pathlib import Path
from string import Template

from buildbook.book.loader import decode, parse
from buildbook.book.places import NAME, Misuse, folder_of, shown
from buildbook.book.schema import folder
from buildbook.book.writing import UNFINISHED, first_error, lock, replace, scalar, sync_folder
from buildbook.records.read import BUILD_FILES
from buildbook.records.tree import ListNode, MapNode, TextNode

# What goes into an engine new each time it is opened.
_RENEWED = ("ring_set", "pin_locks", "_bearing", "gasket", "_bolt")
_NO_LOCK = """\
locked:
#  - {piston: P3, cylinder: 5, because: honed to this piston}
"""

_CHOICES = ("units", "balance", "limits")


def begin_book(book: Path, shop: str, person: str, person_name: str) -> list[Path]:
    """Write a new book's shop.yaml, and the schemas that its files point at."""
    if (book / "shop.yaml").exists():
        raise Misuse(f"{shown(book)} is a book already", "'buildbook new engine NAME' adds an engine to it")
    if book.exists() and (not book.is_dir() or not all(_begun(entry) for entry in book.iterdir())):
        raise Misuse(f"{shown(book)} is there, and is not empty", "name a folder that does not exist yet")
    _check_name(person, "a person")
    fields = {"shop": scalar(shop), "person": scalar(person), "person_name": scalar(person_name)}
    text = _composed("shop", fields)
    book.mkdir(parents=True, exist_ok=True)
    schemas = copy_schemas(book)
    (book / "engines").mkdir(exist_ok=True)
    if not (book / ".gitattributes").exists():
        replace(book / ".gitattributes", _ATTRIBUTES)
    replace(book / "shop.yaml", text.encode())  # last: with it, the folder is a book
    return [book / "shop.yaml", book / ".gitattributes", *schemas]


# git keeps the files byte for byte, whatever this machine does with line ends elsewhere
_ATTRIBUTES = b"*.yaml -text\n"


def _begun(entry: Path) -> bool:
    """Whether this may be there before a book begins: git, and what a beginning that was cut off left."""
    if entry.name == "schemas":
        return entry.is_dir() and all(each.name.endswith(".schema.json") for each in entry.iterdir())
    if entry.name == "engines":
        return entry.is_dir() and not any(entry.iterdir())
    return entry.name in {".git", ".gitattributes"} or entry.name.endswith(UNFINISHED)


def copy_schemas(book: Path) -> list[Path]:
    """Put this version's schemas into the book, where an editor finds them with no program and no network."""
    (book / "schemas").mkdir(exist_ok=True)
    return [
        Path(shutil.copy(schema, book / "schemas" / schema.name))
        for schema in sorted(folder("schemas").glob("*.schema.json"))
    ]


def begin_engine(book: Path, name: str, layout: str) -> list[Path]:
    _check_name(name, "an engine")
    text = _composed("engine", {"engine": scalar(name), "layout": scalar(layout)})
    (book / "engines").mkdir(exist_ok=True)
    return _write_folder(book, book / "engines" / name, {"engine": text})


def begin_build(book: Path, name: str, opened: str, person: str, follows: str | None) -> list[Path]:
    """Write a new build's files. One that follows another starts from its parts, limits and choices."""
    engine, _, build = name.partition("/")
    _check_name(build, "a build")
    place = folder_of(book, name)
    before = book / "engines" / engine / follows if follows else None
    fields = {
        "engine": scalar(engine),
        "build": scalar(build),
        "opened": opened,
        "person": scalar(person),
        "follows": f"follows: {scalar(follows)}\n" if follows else "",
        "choices": _blocks(before / "build.yaml" if before else book / "shop.yaml", _CHOICES),
        "locked": (_locked(before / "pairings.yaml") if before else "") or _NO_LOCK,
    }
    texts = {kind: _composed(kind, fields) for kind in BUILD_FILES}
    if before and (before / "parts.yaml").exists():
        texts["parts"] = _carried_over(before / "parts.yaml")
    return _write_folder(book, place, texts)


def _check_name(name: str, what: str) -> None:
    if not NAME.fullmatch(name):
        near = re.sub(r"[^a-z0-9._-]+", "-", name.lower()).strip("-._") or "heron-07"
        why = f"the name of {what} is made of small letters, digits and dashes, such as {near}"
        raise Misuse(f"'{name[:60]}' will not do", why)


def _composed(kind: str, fields: Mapping[str, str]) -> str:
    """The text of a new file. Raises Misuse where it could not be read back."""
    template = (Path(__file__).parent / "templates" / f"{kind}.yaml").read_text(encoding="utf-8")
    text = Template(template).substitute(fields)
    root, findings = parse(text, f"{kind}.yaml")
    if root is None:
        what = f"a new {kind}.yaml cannot be made of what the file before says: {first_error(findings).what}"
        raise Misuse(what, "lay its units, balance and limits out line by line")
    return text


def _write_folder(book: Path, place: Path, texts: Mapping[str, str]) -> list[Path]:
    """Make a folder with its files at one instant: it is there with all of them, or not at all."""
    with lock(book):
        if place.exists():
            raise Misuse(f"{shown(place)} is there already", "choose another name")
        beginnings = Path(tempfile.mkdtemp(dir=place.parent, prefix=f".{place.name}.", suffix=UNFINISHED))
        try:
            for kind, text in texts.items():
                replace(beginnings / f"{kind}.yaml", text.encode())
            beginnings.chmod(0o755)
            beginnings.rename(place)
        except BaseException:
            shutil.rmtree(beginnings, ignore_errors=True)
            raise
        sync_folder(place.parent)
    return [place / f"{kind}.yaml" for kind in texts]


def _read(path: Path) -> tuple[str, MapNode]:
    try:
        text, findings = decode(path.read_bytes(), shown(path))
    except OSError as error:
        raise Misuse(f"{shown(path)} cannot be read: {error.strerror}", "bring the file back from git") from None
    root, more = parse(text, shown(path)) if text is not None else (None, [])
    if text is None or root is None:
        wrong = first_error([*findings, *more])
        raise Misuse(f"{wrong.where}: {wrong.what}", wrong.remedy)
    return text, root


def _locked(path: Path) -> str:
    """The locks of the build before: a bore honed to a piston is so still."""
    has_locks = path.exists() and isinstance(_read(path)[1].get("locked"), ListNode)
    return f"{_blocks(path, ('locked',))}\n" if has_locks else ""


def _blocks(path: Path, names: Container[str]) -> str:
    """Some top-level fields of a file, as they are written there, comments and all."""
    text, root = _read(path)
    lines = text.splitlines()
    keys = sorted(root.keys.values(), key=lambda key: key.start)
    blocks = []
    for place, key in enumerate(keys):
        if key.text in names:
            end = keys[place + 1].where.line - 1 if place + 1 < len(keys) else len(lines)
            block = lines[key.where.line - 1 : end]
            while block and (not block[-1].strip() or block[-1].startswith("#")):
                block.pop()
            blocks.append("\n".join(block))
    return "\n".join(blocks)


def _carried_over(path: Path) -> str:
    """A parts list for the next build: what was fitted then is reused now. Of what is renewed every time, nothing is
    said until somebody says it."""
    text, root = _read(path)
    parts = root.get("parts")
    for part in reversed(parts.items if isinstance(parts, ListNode) else ()):
        state = part.get("state") if isinstance(part, MapNode) else None
        if not isinstance(part, MapNode) or not isinstance(state, TextNode) or state.is_null or state.text == "spare":
            continue
        kind = part.get("kind")
        if isinstance(kind, TextNode) and kind.text.endswith(_RENEWED):
            text = _without(text, part, "state")
        else:
            text = f"{text[: state.start]}reused{text[state.end :]}"
    return text


def _without(text: str, fields: MapNode, name: str) -> str:
    """The text without one field of a group that has others before it."""
    names = list(fields.values)
    place = names.index(name)
    if place == 0:
        return text
    return text[: fields.values[names[place - 1]].end] + text[fields.values[name].end :]
