"""Adds a record to a file, and leaves every other byte as it was.

The new text is spliced in at the right line; the result is read back and held against what was there before it
replaces the file. This is the one place that changes a file of a book.
"""

import json
import os
import re
import shutil
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from buildbook.book.loader import decode, parse
from buildbook.book.places import UNFINISHED, Misuse, shown
from buildbook.book.schema import check_tree
from buildbook.quantities import Quantity, is_plain_number, slip
from buildbook.records.finding import Finding
from buildbook.records.tree import ListNode, MapNode, Node, TextNode

# What can be written: a text, a count, a quantity with its own digits, and groups and lists of these.
Value = str | int | Quantity | Mapping[str, "Value"] | Sequence["Value"]

_WIDEST = 100

_plain_text = re.compile(r"[^\W_](?:[\w ./+()-]|:(?=\w))*(?<! )").fullmatch
# halves of characters that are no text, and the character that the loader keeps for itself
_unwritable = re.compile("[\ud800-\udfff\ue000]").search
_reserved = {"", "null", "true", "false", "yes", "no", "on", "off", "y", "n", "~"}


def scalar(value: str | int | Quantity) -> str:
    """A value as it stands in YAML, in quotes where another reading of it would be possible."""
    if isinstance(value, Quantity):
        return value.text if is_plain_number(value.text) else f'"{value.text}"'
    if isinstance(value, int):
        return str(value)
    number_like = is_plain_number(value) or slip(value) is not None
    if _plain_text(value) and not number_like and value.lower() not in _reserved:
        return value
    if unwritable := _unwritable(value):
        what = f"the text holds a character that no file can keep (U+{ord(unwritable[0]):04X})"
        raise Misuse(what, "type the text again; nothing was written")
    return "".join(
        each if each.isprintable() else f"\\U{ord(each):08X}" for each in json.dumps(value, ensure_ascii=False)
    )


def flow(value: Value) -> str:
    """A value on one line."""
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_key(name)}: {flow(inner)}" for name, inner in value.items()) + "}"
    if isinstance(value, str | int | Quantity):
        return scalar(value)
    return "[" + ", ".join(map(flow, value)) + "]"


def _key(name: str) -> str:
    """A field's name: a plain number needs no quotes there, as in `1: {rod: R1}`."""
    return name if name.isdecimal() and is_plain_number(name) else scalar(name)


def field_lines(name: str, value: Value) -> Iterator[str]:
    """The lines of one field: on one line where it fits, groups of groups always line by line."""
    key = _key(name)
    if isinstance(value, Mapping) and value:
        nested = any(isinstance(inner, Mapping) for inner in value.values())
        if nested or len(flow(value)) + len(key) > _WIDEST:
            yield f"{key}:"
            for inner_name, inner in value.items():
                yield from (f"  {line}" for line in field_lines(inner_name, inner))
            return
    yield f"{key}: {flow(value)}"


def with_field(text: str, root: MapNode, name: str, value: Value) -> str:
    """The text with a new field at its end. Raises Misuse where the field is there already."""
    if name in root.values:
        raise Misuse(f"'{name}' stands in the file already", "complete it by hand; nothing was written")
    if root.flow:
        last = next(reversed(root.values.values()), None)
        after, comma = (last.end, ", ") if last else (root.start + 1, "")
        return f"{text[:after]}{comma}{_key(name)}: {flow(value)}{text[after:]}"
    return _insert(text, len(text), list(field_lines(name, value)))


def with_record(text: str, root: MapNode, name: str, record: Mapping[str, Value]) -> str:
    """The text with a record appended to the list `name`; the list begins where there is none yet."""
    lines = [line for field, value in record.items() for line in field_lines(field, value)]
    node = root.get(name)
    if isinstance(node, ListNode) and node.items:
        if node.flow:
            after = node.items[-1].end
            return f"{text[:after]}, {flow(record)}{text[after:]}"
        indent = " " * (node.where.column - 1)
        return _insert(text, node.end, [f"{indent}- {lines[0]}", *(f"{indent}  {line}" for line in lines[1:])])
    lines = [f"  - {lines[0]}", *(f"    {line}" for line in lines[1:])]
    if node is None:
        if root.flow:
            return with_field(text, root, name, [record])
        return _insert(text, len(text), [f"{name}:", *lines])
    # an empty list within braces, or with a comment in it, which stays
    if isinstance(node, ListNode) and (root.flow or "#" in text[node.start : node.end]):
        return f"{text[: node.start + 1]}{flow(record)}{text[node.start + 1 :]}"
    # an empty list, or nothing after the colon: the placeholder makes way
    before_node = text[: node.start].rstrip(" ") if node.start < node.end else text[: node.start]
    return _insert(before_node + text[node.end :], len(before_node), lines)


def _insert(text: str, offset: int, lines: list[str]) -> str:
    """The text with whole lines inserted after the line in which `offset` lies."""
    line_end = "\r\n" if "\r\n" in text else "\n"
    if offset > 0 and text[offset - 1] not in "\r\n":
        following = re.compile(r"\r\n|\n|\r").search(text, offset)
        offset = following.end() if following else len(text)
    before, after = text[:offset], text[offset:]
    if before and before[-1] not in "\r\n":
        before += line_end
    return before + "".join(line + line_end for line in lines) + after


# What this process holds, and how many times over.
_held: dict[Path, int] = {}


@contextmanager
def lock(book: Path) -> Iterator[None]:
    """Hold the book against other commands that write; a process that dies lets go by itself.

    Whoever holds it already may take it again: a command holds it from reading through to the commit.
    """
    with _locked(book, wait=True):
        yield


@contextmanager
def _locked(book: Path, *, wait: bool) -> Iterator[bool]:
    """Whether the book could be held."""
    try:
        import fcntl
    except ImportError:  # no such locks on this system
        yield True
        return
    place = book.resolve()
    if place in _held:
        _held[place] += 1
        try:
            yield True
        finally:
            _held[place] -= 1
        return
    descriptor = os.open(place, os.O_RDONLY)
    try:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX if wait else fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            yield False
            return
        _held[place] = 1
        try:
            yield True
        finally:
            del _held[place]
    finally:
        os.close(descriptor)


def leftovers(folders: Iterable[Path]) -> list[Path]:
    """What a command that was killed left behind in these folders: files and folders that never got their name."""
    found = []
    for folder in folders:
        try:
            with os.scandir(folder) as entries:
                found += [Path(e.path) for e in entries if e.name.startswith(".") and e.name.endswith(UNFINISHED)]
        except OSError:
            continue
    return sorted(found)


def tidy(book: Path, folders: Iterable[Path]) -> list[Path]:
    """Remove what killed commands left behind in these folders, unless a command is at work; and say what it was."""
    found = leftovers(folders)
    if not found:
        return []
    with _locked(book, wait=False) as held:
        if not held:
            return []
        gone = []
        for path in leftovers({path.parent for path in found}):
            with suppress(OSError):
                if path.is_dir() and not path.is_symlink():
                    shutil.rmtree(path)
                else:
                    path.unlink()
                gone.append(path)
        return gone


class Refused(Exception):
    """A record that was not written, because of what the book would say with it."""

    def __init__(self, findings: Sequence[Finding]) -> None:
        super().__init__(findings[0].what)
        self.findings = tuple(findings)


def edit(
    book: Path,
    kind: str,
    path: Path,
    change: Callable[[str, MapNode], str],
    judge: Callable[[bytes], Sequence[Finding]] = lambda content: (),
    ready: Callable[[], None] = lambda: None,
) -> None:
    """Change one file by `change(text, tree) -> text`, which may only add; `ready` is called right before that.

    Raises Misuse, with the file untouched, where it cannot be read, where anything that was there would be lost or
    altered, or where the result does not pass its schema; Refused where `judge` finds anything in the new content.
    """
    with lock(book):
        content = path.read_bytes()
        text, findings = decode(content, shown(path))
        root, more = parse(text, shown(path)) if text is not None else (None, [])
        if text is None or root is None:
            first = first_error([*findings, *more])
            raise Misuse(f"{first.where}: {first.what}", f"{first.remedy}; nothing was written")
        new_text = change(text, root)
        mark = content[: len(content) - len(text.encode())]  # a byte-order mark stays where it was
        if objections := judge(mark + new_text.encode()):
            raise Refused(objections)
        new_root, wrong = parse(new_text, shown(path))
        if new_root is not None:
            wrong += check_tree(kind, new_root)
        errors = [finding for finding in wrong if finding.severity == "error"]
        if new_root is None or errors:
            raise Misuse(f"the new record would not pass: {errors[0].what}", f"{errors[0].remedy}; nothing was written")
        if new_root.value == root.value or not _only_adds(root, new_root):
            raise Misuse(f"{shown(path)} is laid out in a way that cannot be added to", "add the record by hand")
        ready()
        replace(path, mark + new_text.encode())


def first_error(findings: Sequence[Finding]) -> Finding:
    """What keeps a file from being read, past what is only doubtful in it."""
    return next(finding for finding in findings if finding.severity == "error")


def _only_adds(old: Node, new: Node) -> bool:
    """Whether all that was there is still there, as it was written and in its order."""
    match old, new:
        case TextNode(), TextNode():
            return (old.text, old.plain) == (new.text, new.plain)
        case TextNode(), ListNode() | MapNode():
            return old.is_null
        case ListNode(), ListNode():
            kept = new.items[: len(old.items)]
            return len(kept) == len(old.items) and all(map(_only_adds, old.items, kept))
        case MapNode(), MapNode():
            kept_names = [name for name in new.values if name in old.values]
            return kept_names == list(old.values) and all(_only_adds(old.values[n], new.values[n]) for n in kept_names)
    return False


def replace(path: Path, content: bytes) -> None:
    """Put new content in a file's place at one instant: a crash leaves the old state or the new."""
    target = path.resolve()
    descriptor, temporary = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.", suffix=UNFINISHED)
    try:
        with open(descriptor, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(temporary, target.stat().st_mode if target.exists() else 0o644)
        os.replace(temporary, target)
    except BaseException:
        with suppress(OSError):
            os.unlink(temporary)
        raise
    sync_folder(target.parent)


def sync_folder(folder: Path) -> None:
    """Let the names in a folder outlast a power cut, as far as the disk can promise it.

    What was written is in its place already: to report a failure here would invite to enter it a second time.
    """
    with suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
