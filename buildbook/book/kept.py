"""What was changed by hand since the book was last kept, told by what it means; and the message that keeps it."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from buildbook.book import git
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
    lost: tuple[str, ...] = ()  # what is no longer there: records, files, the whole


# What `new book` writes besides shop.yaml and the schemas, and what a merge could not bring in.
_OWN = (".gitattributes", ".gitignore")
BESIDE = "beside"
# The kinds of file that hold records.
KINDS = frozenset(("shop", "engine", *BUILD_FILES))

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
    """Of a file of the book's own: what it is about, the build if it is one's, and its kind; None for any other."""
    from buildbook.book.sync.undecided import is_beside

    match path.relative_to(book).parts:
        case ["shop.yaml"]:
            return "shop.yaml", None, "shop"
        case ["engines", engine, "engine.yaml"]:
            return engine, None, "engine"
        case ["engines", engine, build, name] if name.removesuffix(".yaml") in BUILD_FILES and name.endswith(".yaml"):
            return f"{engine}/{build}", f"{engine}/{build}", name.removesuffix(".yaml")
        case ["engines", engine, build, name] if is_beside(name):
            return f"{engine}/{build}", f"{engine}/{build}", BESIDE
        case [name] if name in _OWN:
            return "the book", None, "own"
        case ["schemas", name] if name.endswith(".schema.json"):
            return "the book", None, "own"
    return None


def ledger_files(book: Path, changes: Iterable[git.Changed]) -> list[git.Changed]:
    """Those changes that are of the book's own files: the ledger's, and what `new book` puts beside them."""
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
                tuple(text for text, counted, _ in told if counted in _LOST),
            )
        )
    return found


def _as_kept(book: Path, paths: Sequence[Path]) -> dict[Path, bytes | None]:
    from buildbook.book.commits import contents

    if not paths:
        return {}
    return dict(zip(paths, contents(book, [("HEAD", path) for path in paths]), strict=True))


# What a change says, what it is counted as (a verb and a noun), and the records that it concerns.
_Told = tuple[str, tuple[str, str], tuple[str, ...]]
_LOST = {("removed", noun) for noun in ("record", "file", "whole")}


def _whole_build(
    files: Sequence[git.Changed], before: Mapping[Path, bytes | None], kinds: Mapping[Path, tuple[str, str | None, str]]
) -> _Told | None:
    """A build or engine that is new as a whole, or gone as a whole."""
    if not all(kinds[each.path][2] in KINDS for each in files):
        return None
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
    if kind in {"own", BESIDE}:
        verb = "removed" if change.gone else "added" if was is None else "changed"
        yield f"{name} {verb}", (verb, name if kind == "own" else "a file kept beside"), ()
        return
    if change.gone:
        yield f"{name} removed", ("removed", "file"), ()
        return
    if change.path.is_symlink():  # it may lead out of the book, where nothing is read
        yield f"{name} is a link now", ("changed", name), ()
        return
    content = change.path.read_bytes()
    if content == was:
        what = "was forgotten by git" if change.dropped else "has other permissions"
        yield f"{name} {what}", (what, name), ()
        return
    now = _tree(content, name)
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
    if len(whole := "; ".join(lines)) <= _WIDEST:
        subject = f"Edit {whole}"
        body = lines if said else []
    elif len(found) == 1:
        subject = f"Edit {found[0].subject}: {', '.join(found[0].counted)}"[:_WIDEST]
        body = list(found[0].said)
    else:
        subjects = [_safe(each.subject) for each in found]
        subject = f"Edit {', '.join(subjects[:-1])} and {subjects[-1]}"
        subject = subject if len(subject) <= _WIDEST else f"Edit {len(found)} builds and engines"
        body = lines
    trailers = [f"Build: {each.build}" for each in found if each.build is not None]
    if len(found) == 1:
        trailers += [f"Record: {_safe(id_)}" for id_ in found[0].records]
    parts = [said or subject, "\n".join(body), "\n".join(trailers)]
    return "\n\n".join(part for part in parts if part)


def notes(book: Path, changes: Sequence[git.Changed]) -> list[Finding]:
    """What `check` says of edits that are not kept yet: a note for each build, engine, or the shop; and a warning of
    what is no longer there."""
    from buildbook.book.places import top_of

    found = []
    edits_ = edits(book, ledger_files(book, changes))
    for edit in edits_:
        what = f"edited by hand since it was kept: {', '.join(edit.counted)}"
        why = "What is not kept is in no history: a slip from here on could not be taken back."
        where = top_of(edit.files[0].path)
        found.append(Finding("note", "not-kept", where, what, why, "'buildbook keep' keeps it"))
    return found + lost(edits_)


def lost(found: Sequence[Edit]) -> list[Finding]:
    """What was on the record, and was taken out by hand."""
    from buildbook.book.places import shown, top_of

    findings = []
    for edit in found:
        if edit.lost:
            whole = edit.lost == ("removed",)
            paths = [edit.files[0].path.parent] if whole and edit.build else [each.path for each in edit.files]
            why = "What was measured stays on the record: a wrong record says 'void: why', and counts for nothing."
            remedy = f"'git restore {' '.join(map(shown, paths))}' brings it back as it was kept; "
            remedy += "if it only has another name now, keep it so" if whole else "then give it 'void: why'"
            what = f"{edit.subject}: {'; '.join(edit.lost)} by hand"
            findings.append(Finding("warning", "taken-out", top_of(edit.files[0].path), what, why, remedy))
    return findings
