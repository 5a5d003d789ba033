"""Begins books, engines and builds: commented files that point editors at their schemas."""

import os
import re
import shlex
import shutil
import sys
import tempfile
from collections.abc import Container, Mapping
from contextlib import suppress
from pathlib import Path
from string import Template

from buildbook.balance.layouts import known_layout
from buildbook.book import git
from buildbook.book.loader import decode, parse
from buildbook.book.places import NAME, UNFINISHED, Misuse, data_folder, folder_of, shown
from buildbook.book.reading import Reader
from buildbook.book.writing import first_error, lock, replace, scalar, sync_folder
from buildbook.figures.cylinders import layout_of_engine
from buildbook.quantities import DIMENSIONS
from buildbook.records.read import BUILD_FILES
from buildbook.records.tree import ListNode, MapNode, TextNode

# What goes into an engine new each time it is opened.
_RENEWED = ("ring_set", "pin_locks", "_bearing", "gasket", "_bolt")
_NO_LOCK = """\
locked:
#  - {piston: P3, cylinder: 5, because: honed to this piston}
"""

_CHOICES = ("units", "balance", "limits")
_LIMITS = """\
# What must slide, seal or clear, by the part makers' sheets; a number may carry its unit, as in "0.0025 in":
#  main_clearance:   {min: 0.045 mm, max: 0.075 mm, source: bearing maker's sheet}
#  piston_clearance: {min: 0.070 mm, max: 0.095 mm, source: piston maker's sheet}
#  top_ring_gap:     {min: {per_mm: 0.0045}, source: ring maker's sheet}
"""

# What a spins.yaml says of the machine and of the crankshaft on it.
_MACHINE = ("angles", "planes", "bearings", "mass_centre")
_NO_MACHINE = """\
#angles: {zero: throw 1 up, positive: against_rotation, reading: heavy_side}
#planes:
#  front: {position: -54$mm, radius: 88$mm, windows: [{from: 165, to: 250, depth: 32$mm}]}
#  rear: {position: 389$mm, radius: 91$mm, windows: [{from: 20, to: 80, depth: 34$mm}]}"""
_DRILLED = ". 'buildbook plan' keeps clear of the holes drilled then, as long as it is the same crankshaft."
_SPIN_UNITS = "units: {mass: $mass, length: $length, angle: deg, speed: rpm}"


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
    for_git = write_for_git(book)
    replace(book / "shop.yaml", text.encode())  # last: with it, the folder is a book
    return [book / "shop.yaml", *for_git, *schemas]


_FOR_GIT = {
    # git keeps the files byte for byte, whatever this machine does with line ends elsewhere
    ".gitattributes": "*.yaml -text\n",
    ".gitignore": """\
# a session under way, and what is not in its place yet
.*.taking
.*.writing
# printed pages, which can be printed again
/*-customer.*
/*-shop.*
/*-wall.*
/*-labels.*
/engines/*/*/*-customer.*
/engines/*/*/*-shop.*
/engines/*/*/*-wall.*
/engines/*/*/*-labels.*
""",
}


def write_for_git(book: Path) -> list[Path]:
    """Tell git how to keep a book's files and which are none; what is there already stays."""
    for name, text in _FOR_GIT.items():
        if not (book / name).exists():
            replace(book / name, text.encode())
    return [book / name for name in _FOR_GIT]


def _begun(entry: Path) -> bool:
    """Whether this may be there before a book begins: git, and what a beginning that was cut off left."""
    if entry.name == "schemas":
        return entry.is_dir() and all(each.name.endswith(".schema.json") for each in entry.iterdir())
    if entry.name == "engines":
        return entry.is_dir() and not any(entry.iterdir())
    return entry.name in {".git", *_FOR_GIT} or entry.name.endswith(UNFINISHED)


HOOK = "pre-commit"


def install_hook(book: Path) -> str:
    """Have git check what is staged before a commit that is made by hand, and say so; or why it will not.

    A hook that is there is not touched, nor anything that lies elsewhere.
    """
    folder = book / ".git" / "hooks"
    named = f".git/hooks/{HOOK}"
    if (book / ".git").is_symlink() or not (book / ".git").is_dir() or folder.is_symlink():
        return f"no hook of git's was written: {shown(folder)} lies elsewhere"
    try:
        own = git.run(book, "rev-parse", "--git-path", "hooks").decode().strip()
        if (book / own).resolve() != folder.resolve():
            return f"no hook of git's was written: git looks for them in {own} (core.hooksPath)"
        text = (Path(__file__).parent / "templates" / HOOK).read_text(encoding="utf-8")
        folder.mkdir(exist_ok=True)
        descriptor = os.open(folder / HOOK, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o755)
        with open(descriptor, "w", encoding="utf-8") as file:
            file.write(text.replace("PYTHON", shlex.quote(sys.executable), 1))
    except FileExistsError:
        return f"the hook that is there was left alone ({named})"
    except (OSError, git.NotKept) as reason:
        return f"no hook of git's was written: {reason}"
    return f"git now has buildbook check what is staged before a commit made by hand ({named})"


def copy_schemas(book: Path) -> list[Path]:
    """Put this version's schemas into the book, where an editor finds them with no program and no network."""
    (book / "schemas").mkdir(exist_ok=True)
    return [
        Path(shutil.copy(schema, book / "schemas" / schema.name))
        for schema in sorted(data_folder("schemas").glob("*.schema.json"))
    ]


def begin_engine(book: Path, name: str, layout: str) -> list[Path]:
    _check_name(name, "an engine")
    mains = str(len(known_layout(layout).throws) + 1)  # as most engines have them, one to either side of a throw
    text = _composed("engine", {"engine": scalar(name), "layout": scalar(layout), "mains": mains} | _units(book))
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
        "examples": "" if before else _LIMITS,
        "locked": (_locked(before / "pairings.yaml") if before else "") or _NO_LOCK,
    }
    units = _units(book)
    fields |= units | _pieces(book, engine) | _machine(before, units)
    texts = {kind: _composed(kind, fields) for kind in BUILD_FILES}
    if before and (before / "parts.yaml").exists():
        texts["parts"] = _carried_over(before / "parts.yaml", before.name)
    return _write_folder(book, place, texts)


def _pieces(book: Path, engine: str) -> dict[str, str]:
    """The pieces of an engine as an example has them: for as many cylinders as its layout has, or else for four."""
    known, _ = Reader(book).engine(engine)
    cylinders = 4
    if known is not None:
        with suppress(ValueError):  # of a layout that 'check' objects to
            cylinders = len(layout_of_engine(known).cylinders)
    marks = {"rods": "R", "pistons": "P", "pins": "N"}
    listed = {kind: ", ".join(f"{mark}{each}" for each in range(1, cylinders + 1)) for kind, mark in marks.items()}
    return listed | {"cylinders": str(cylinders), "two_each": str(2 * cylinders)}


# What a bare number means in a new file, where the shop does not say what it reads in.
_USUAL = {"mass": "g", "length": "mm", "volume": "cc", "torque": "N m", "temperature": "degC"}


def _units(book: Path) -> dict[str, str]:
    """The units of new files: those that the shop prefers. The examples in them are in g and mm, which they say where
    a bare number would be something else."""
    preferred = _read(book / "shop.yaml")[1].get("preferred_units")
    found = dict(_USUAL)
    for dimension, node in preferred.items() if isinstance(preferred, MapNode) else ():
        if isinstance(node, TextNode) and node.text in DIMENSIONS.get(dimension, ()):
            found[dimension] = node.text
    return found | {unit: "" if unit in found.values() else f" {unit}" for unit in ("g", "mm")}


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


def _machine(before: Path | None, units: Mapping[str, str]) -> dict[str, str]:
    """What a new spins.yaml says of the machine and of the crankshaft on it, and in which units: as the build before
    has it."""
    if before and (before / "spins.yaml").exists() and _read(before / "spins.yaml")[1].get("planes") is not None:
        path = before / "spins.yaml"
        return {
            "spin_units": _blocks(path, ("units",)),
            "machine": f"# As in {before.name}{_DRILLED}\n{_blocks(path, _MACHINE)}",
        }
    examples = {"spin_units": _SPIN_UNITS, "machine": _NO_MACHINE}
    return {name: Template(text).substitute(units) for name, text in examples.items()}


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


def _carried_over(path: Path, before: str) -> str:
    """A parts list for the next build: what was fitted then is reused now. Of what is renewed every time, nothing is
    said until somebody says it; but fasteners that stay were tightened once more."""
    text, root = _read(path)
    parts = root.get("parts")
    tightened = False
    for part in reversed(parts.items if isinstance(parts, ListNode) else ()):
        if not isinstance(part, MapNode) or _said(part, "state") == "spare":
            continue
        uses = _uses(part)
        tightened |= uses is not None
        for name in sorted({"state", "uses"} & part.values.keys(), key=list(part.values).index, reverse=True):
            text = _of_next(text, part, name, uses)
    return _headed(text, before if tightened else None)


def _said(part: MapNode, name: str) -> str | None:
    node = part.get(name)
    return node.text if isinstance(node, TextNode) and not node.is_null else None


def _uses(part: MapNode) -> int | None:
    """How often fasteners will have been tightened before the next build; None where that is not known. Those that were
    new were tightened once."""
    uses = _said(part, "uses")
    if uses is not None:
        return int(uses) + 1 if uses.isdecimal() else None
    is_new = (_said(part, "kind") or "").endswith("_bolt") and _said(part, "state") in {"new", "replaced"}
    return 1 if is_new else None


def _of_next(text: str, part: MapNode, name: str, uses: int | None) -> str:
    """The text with one field of a part as the next build has it."""
    value = part.values[name]
    start, new = value.start, "reused"
    if _said(part, name) is None:
        return text
    if name == "uses":
        new = _said(part, name) or "" if uses is None else str(uses)
    elif (_said(part, "kind") or "").endswith(_RENEWED):
        if uses is None or "uses" in part.values:
            return _without(text, part, name)
        start, new = part.keys[name].start, f"uses: {uses}"  # in its place
    return f"{text[:start]}{new}{text[value.end :]}"


_COUNTED = "# uses: one more than in"


def _headed(text: str, before: str | None) -> str:
    """The text with what a file of a book begins with, where it does not: the schema, and how its uses came about."""
    mark = "\ufeff" if text.startswith("\ufeff") else ""
    first, _, rest = text.removeprefix(mark).partition("\n")
    end = "\r\n" if first.endswith("\r") else "\n"
    if "$schema=" in first:
        head = f"{first}\n"
    else:
        head, rest = f"# yaml-language-server: $schema=../../../schemas/parts.schema.json{end}", f"{first}\n{rest}"
    if before is not None:
        head += f"{_COUNTED} {before}, where these fasteners were tightened once, or more often: then count it.{end}"
        head += f"# Where they are new, say so: 'state: new' instead of 'uses'.{end}"
        rest = re.sub(rf"^{_COUNTED} .*\n#.*\n", "", rest, count=1, flags=re.MULTILINE)
    return f"{mark}{head}{rest}"


def _without(text: str, fields: MapNode, name: str) -> str:
    """The text without one field of a group that has others before it."""
    names = list(fields.values)
    place = names.index(name)
    if place == 0:
        return text
    return text[: fields.values[names[place - 1]].end] + text[fields.values[name].end :]
