"""What was changed by hand since the book was last kept, told by what it means; and the message that keeps it."""

import os
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import cache, cached_property
from hashlib import sha256
from pathlib import Path
from typing import NamedTuple

from buildbook.book import git
from buildbook.book.schema import Passed
from buildbook.book.schema import folder as schema_folder
from buildbook.book.writing import UNFINISHED
from buildbook.records.finding import Finding
from buildbook.records.read import BUILD_FILES

_WIDEST = 100  # of a subject line: beyond, what changed is told line by line below it


class Edit(NamedTuple):
    """What was edited of one build, engine or the shop (`subject`), told piece by piece."""

    subject: str
    build: str | None
    files: tuple[git.Changed, ...]
    said: tuple[str, ...]  # as in `weighings W11 and W12 added`
    counted: tuple[str, ...]  # the same in fewer words, as in `2 records added`
    records: tuple[str, ...]  # the ids of records that were added, changed or voided


# Lists of records with ids, by file: what one is called, and what several are.
_RECORDS = {
    ("weighings", "sessions"): ("weighing", "weighings"),
    ("clearances", "sessions"): ("measurement", "measurements"),
    ("spins", "steps"): ("step", "steps"),
    ("build", "sign_offs"): ("sign-off", "sign-offs"),
    ("build", "reopened"): ("reopening", "reopenings"),
    ("pairings", "revised"): ("revision", "revisions"),
}
# Groups of named fields, the same way.
_GROUPS = {
    ("build", "limits"): ("limit", "limits"),
    ("build", "balance"): ("balance choice", "balance choices"),
    ("build", "units"): ("unit", "units"),
    ("pairings", "cylinders"): ("the pairing of cylinder", "the pairings of cylinders"),
    ("spins", "planes"): ("plane", "planes"),
    ("engine", "serials"): ("serial number", "serial numbers"),
    ("shop", "people"): ("person", "people"),
    ("shop", "instruments"): ("instrument", "instruments"),
    ("shop", "limits"): ("limit", "limits"),
    ("shop", "balance"): ("balance choice", "balance choices"),
}


def kind_of(book: Path, path: Path) -> tuple[str, str | None, str] | None:
    """Of a file of the ledger: what it is about, the build if it is one's, and its kind; None for any other file."""
    match path.relative_to(book).parts:
        case ["shop.yaml"]:
            return "shop.yaml", None, "shop"
        case ["engines", engine, "engine.yaml"]:
            return engine, None, "engine"
        case ["engines", engine, build, name] if name.removesuffix(".yaml") in BUILD_FILES and name.endswith(".yaml"):
            return f"{engine}/{build}", f"{engine}/{build}", name.removesuffix(".yaml")
    return None


def ledger_files(book: Path, changes: Iterable[git.Changed]) -> list[git.Changed]:
    """Those changes that are of the book's ledger files."""
    return [each for each in changes if kind_of(book, each.path) is not None]


def edits(book: Path, changes: Sequence[git.Changed]) -> list[Edit]:
    """What these changes of ledger files mean, in the order of the book. Raises NotKept."""
    before = _as_kept(book, [each.path for each in changes])
    subjects: dict[str, list[git.Changed]] = {}
    for change in changes:
        kind = kind_of(book, change.path)
        if kind is not None:
            subjects.setdefault(kind[0], []).append(change)
    found = []
    for subject in sorted(subjects, key=lambda each: (each != "shop.yaml", each)):
        files = tuple(subjects[subject])
        kinds = {each.path: kind for each in files if (kind := kind_of(book, each.path)) is not None}
        whole = _whole_build(files, before, kinds)
        told = [whole] if whole else [one for each in files for one in _told(kinds[each.path][2], each, before)]
        found.append(
            Edit(
                subject,
                kinds[files[0].path][1],
                files,
                tuple(text for text, _, _ in told),
                tuple(dict.fromkeys(_counted(told))),
                tuple(id_ for _, _, ids in told for id_ in ids),
            )
        )
    return found


def _as_kept(book: Path, paths: Sequence[Path]) -> dict[Path, bytes | None]:
    from buildbook.book.past import contents

    if not paths:
        return {}
    return dict(zip(paths, contents(book, [("HEAD", path) for path in paths]), strict=True))


# What a change says, what it is counted as (a verb and a noun), and the records that it concerns.
_Told = tuple[str, tuple[str, str], tuple[str, ...]]


def _whole_build(
    files: Sequence[git.Changed], before: Mapping[Path, bytes | None], kinds: Mapping[Path, tuple[str, str | None, str]]
) -> _Told | None:
    """A build or engine that is new as a whole, or gone as a whole."""
    main = next((each for each in files if kinds[each.path][2] in {"build", "engine", "shop"}), None)
    if main is None or (not main.gone and before[main.path] is not None):
        return None
    if main.gone and all(each.gone for each in files):
        return "removed", ("removed", "whole"), ()
    if not main.gone and all(before[each.path] is None for each in files):
        return "begun by hand", ("begun", "whole"), ()
    return None


def _told(kind: str, change: git.Changed, before: Mapping[Path, bytes | None]) -> Iterator[_Told]:
    name = change.path.name
    was = before[change.path]
    if change.gone:
        yield f"{name} removed", ("removed", "file"), ()
        return
    if change.path.is_symlink():  # it may lead out of the book, where nothing is read
        yield f"{name} is a link now", ("changed", name), ()
        return
    now = _tree(change.path.read_bytes(), name)
    then = _tree(was, name) if was is not None else {}
    if now is None or then is None:
        yield f"{name} changed, which cannot be read for certain", ("changed", name), ()
        return
    told = [one for field in {**then, **now} for one in _field(kind, field, then.get(field), now.get(field))]
    if was is None and not told:
        yield f"{name} added", ("added", "file"), ()
    elif not told:
        yield f"remarks or layout of {name} changed", ("changed", "remarks"), ()
    yield from told


def _tree(content: bytes, name: str) -> dict[str, object] | None:
    from buildbook.book.loader import decode, parse

    text, _ = decode(content, name)
    root = parse(text, name)[0] if text is not None else None
    return _written(root) if root is not None else None  # type: ignore[return-value]


def _written(node: object) -> object:
    """A tree as what is written in it, digit by digit: 633.0 is not 633."""
    from buildbook.records.tree import ListNode, MapNode, TextNode

    match node:
        case MapNode():
            return {key: _written(value) for key, value in node.items()}
        case ListNode():
            return [_written(each) for each in node.items]
        case TextNode():
            return None if node.is_null else node.text
    return node


def _field(kind: str, field: str, then: object, now: object) -> Iterator[_Told]:
    """What became of one field of a file."""
    if then == now or (field == "format" and then is None):
        return
    if (kind, field) in _RECORDS or (kind, field) == ("parts", "parts"):
        one, several = _RECORDS.get((kind, field), ("part", "parts"))
        name = _part_name if kind == "parts" else _id
        yield from _named(one, several, _by_name(then, name), _by_name(now, name), records=kind != "parts")
    elif isinstance(then or {}, dict) and isinstance(now or {}, dict) and (kind, field) in _GROUPS:
        one, several = _GROUPS[kind, field]
        yield from _named(one, several, then or {}, now or {}, records=False)  # type: ignore[arg-type]
    else:
        verb = "added" if then is None else "removed" if now is None else "changed"
        yield f"{field.replace('_', ' ')} {verb}", (verb, field.replace("_", " ")), ()


def _id(record: object) -> str | None:
    return str(record["id"]) if isinstance(record, dict) and record.get("id") else None


def _part_name(part: object) -> str | None:
    """A line of the parts list by its kind and its first piece: `rod R1`."""
    if not isinstance(part, dict):
        return None
    ids = part.get("ids")
    return " ".join(str(each) for each in (part.get("kind"), *(ids[:1] if isinstance(ids, list) else ())) if each)


def _by_name(records: object, name: Callable[[object], str | None]) -> dict[str, object]:
    """Records by their names; where one has none, or two the same, by their place as well."""
    found: dict[str, object] = {}
    for place, record in enumerate(records if isinstance(records, list) else (), 1):
        key = name(record)
        found[key if key is not None and key not in found else f"number {place}"] = record
    return found


def _named(
    one: str, several: str, then: Mapping[str, object], now: Mapping[str, object], *, records: bool
) -> Iterator[_Told]:
    verbs: dict[str, list[str]] = {}
    for name in {**then, **now}:
        if name not in then:
            verbs.setdefault("added", []).append(name)
        elif name not in now:
            verbs.setdefault("removed", []).append(name)
        elif then[name] != now[name]:
            verbs.setdefault("voided" if _voided(then[name], now[name]) else "changed", []).append(name)
    for verb, names in verbs.items():
        counted = (verb, "record" if records else several)
        yield f"{one if len(names) == 1 else several} {_listed(names)} {verb}", counted, tuple(names if records else ())


def _voided(then: object, now: object) -> bool:
    return isinstance(then, dict) and isinstance(now, dict) and now == {**then, "void": now.get("void")}


def _listed(names: Sequence[str]) -> str:
    names = [_safe(name) for name in names]
    if len(names) > 6:
        return f"{names[0]} to {names[-1]} ({len(names)} of them)"
    return f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else names[0]


def _safe(name: str) -> str:
    """A name out of a file, as it may stand in a line of a message."""
    return "".join(mark if mark.isprintable() else "?" for mark in name)[:40]


def _counted(told: Sequence[_Told]) -> Iterator[str]:
    """`2 records added`, `limits changed`."""
    for counted in dict.fromkeys(each[1] for each in told):
        verb, noun = counted
        number = sum(len(ids) for _, each, ids in told if each == counted)
        if noun == "record":
            yield f"{number} record{'s' if number != 1 else ''} {verb}"
        elif noun == "whole":
            yield f"{verb} as a whole"
        elif noun == "file":
            number = sum(each == counted for _, each, _ in told)
            yield f"{number} file{'s' if number != 1 else ''} {verb}"
        else:
            yield f"{noun} {verb}"


def message(found: Sequence[Edit], said: str | None = None) -> str:
    """The message that keeps these edits: what a person reads, and the trailers that a program does.

    `said` is somebody's own subject line in place of the one that is made from what changed.
    """
    lines = [f"{each.subject}: {'; '.join(each.said)}" for each in found]
    body: list[str] = []
    if len(found) == 1 and len(lines[0]) <= _WIDEST:
        subject = f"Edit {lines[0]}"
        body = lines if said else []
    elif len(found) == 1:
        subject = f"Edit {found[0].subject}: {', '.join(found[0].counted)}"[:_WIDEST]
        body = list(found[0].said)
    else:
        subject = f"Edit {_listed([each.subject for each in found])}"
        subject = subject if len(subject) <= _WIDEST else f"Edit {len(found)} builds or engines"
        body = lines
    trailers = [f"Build: {each.build}" for each in found if each.build is not None]
    if len(found) == 1:
        trailers += [f"Record: {_safe(id_)}" for id_ in found[0].records]
    parts = [said or subject, "\n".join(body), "\n".join(trailers)]
    return "\n\n".join(part for part in parts if part)


def notes(book: Path, changes: Sequence[git.Changed]) -> list[Finding]:
    """What `check` says of edits that are not kept yet: a note for each build, engine, or the shop."""
    from buildbook.book.places import top_of

    found = []
    for edit in edits(book, ledger_files(book, changes)):
        what = f"edited by hand since it was kept: {', '.join(edit.counted)}"
        why = "What is not kept is in no history: a slip from here on could not be taken back."
        where = top_of(edit.files[0].path)
        found.append(Finding("note", "not-kept", where, what, why, "'buildbook keep' keeps it"))
    return found


class Standing:
    """What git knows of the book's files without reading them: the ids of their contents, and which differ."""

    def __init__(self, book: Path, entries: bytes, status: bytes) -> None:
        self.book = book
        self.entries = entries
        self.changes = git.read_status(book, status)
        # with those that are ignored: they are on disk, and a check would see them
        self.touched = [os.fsdecode(each[3:]) for each in status.split(b"\0") if each]
        self._sound = _remembered()

    @property
    def unfinished(self) -> set[Path]:
        """The folders in which a killed command left something that never got its name."""
        places = (Path(name) for name in self.touched if UNFINISHED in name)
        return {
            self.book / each.parent
            for path in places
            for each in (path, *path.parents)
            if each.name.startswith(".") and each.name.endswith(UNFINISHED)
        }

    @cached_property
    def _lines(self) -> dict[str, list[bytes]]:
        """The index by folder: `""` for the shop, `heron-07` and `heron-07/2026-10-rebuild`."""
        found: dict[str, list[bytes]] = {}
        for entry in self.entries.split(b"\0"):
            parts = os.fsdecode(entry.partition(b"\t")[2]).split("/")[1:-1]
            found.setdefault("/".join(parts[:2]), []).append(entry)
        return found

    @cached_property
    def _folders(self) -> set[str]:
        return {os.fsdecode(name) for name in set(_folder_of_entry.findall(self.entries))}

    @property
    def builds(self) -> list[str]:
        return sorted(name for name in self._folders if "/" in name)

    @cached_property
    def _moved(self) -> set[str]:
        """The folders in which something is not as the index has it."""
        return {"/".join(name.split("/")[1:-1][:2]) for name in self.touched}

    @property
    def whole(self) -> str | None:
        """A digest of the whole book, where all of it is as git has it and no folder is there that git cannot see."""
        if self.touched or not _plain(self.entries) or _folders(self.book) != self._folders:
            return None
        return sha256(_our_code() + self.entries).hexdigest()

    def digest(self, subject: str) -> str | None:
        """A digest of all that the findings of a build or an engine follow from; None where git cannot tell."""
        places = {"", subject.partition("/")[0], subject}
        lines = [line for place in sorted(places) for line in self._lines.get(place, ())]
        if places & self._moved or not _plain(b"\0".join(lines)):
            return None
        return sha256(b"\0".join([_our_code(), subject.encode(), *lines])).hexdigest()

    def is_sound(self, digest: str | None) -> bool:
        """Whether nothing was found in what has this digest when it was checked last."""
        return digest is not None and digest in self._sound

    def remember(self, digest: str | None) -> None:
        if digest is not None:
            self._sound.add(digest)

    def save(self) -> None:
        self._sound.save()


def ask(book: Path) -> Callable[[], Standing | None]:
    """Ask git how the book's files stand, and go on; what is returned waits for it. None where git cannot be asked."""
    under = ("--", "shop.yaml", "engines")
    answers = git.ask(book, ("ls-files", "-s", "-v", "-z", *under), (*git.STATUS, "--ignored", *under))

    def standing() -> Standing | None:
        said = answers()
        return Standing(book, *said) if said is not None else None

    return standing


def _remembered() -> Passed:
    sound = Passed()
    sound.path = sound.path.with_name("sound")
    return sound


_folder_of_entry = re.compile(rb"\tengines/([^/\0]+(?:/[^/\0]+)?)/")
_plain_entry = re.compile(rb"H 100(?:644|755) [0-9a-f]+ 0\t")


def _plain(entries: bytes) -> bool:
    """Whether all these are plain files that git watches: no links, no conflicts, none to be taken as unchanged."""
    return len(_plain_entry.findall(entries)) == entries.count(b"\t")


def _folders(book: Path) -> set[str]:
    """The engines, as far as files lie in them, and the builds: all folders that there are, even empty ones."""
    found = set()
    with os.scandir(book / "engines") as engines:
        for engine in engines:
            if engine.is_dir() and not engine.name.startswith("."):
                found.add(engine.name)
                with os.scandir(engine.path) as builds:
                    found |= {f"{engine.name}/{b.name}" for b in builds if b.is_dir() and not b.name.startswith(".")}
    return found


@cache
def _our_code() -> bytes:
    """Changes with every version of ours: what was found with another is looked at again."""
    package = Path(__file__).resolve().parent.parent
    digest = sha256()
    for top in (package, schema_folder("schemas")):
        for folder, folders, files in os.walk(top):
            folders.sort()
            for name in sorted(files):
                if name.endswith((".py", ".json")):
                    entry = os.stat(os.path.join(folder, name))
                    digest.update(f"{folder}/{name} {entry.st_size} {entry.st_mtime_ns}\n".encode())
    return digest.digest()
