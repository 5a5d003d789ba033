"""What two benches wrote differently, as it stands on the record until somebody decides.

A merge writes each conflict down where every bench has it: in the `void` of a record that holds the other value, in
the `note` of the file where no record can hold it, or as a file beside. These words are made and found again here, so
that every bench is asked, by every `sync` and every `check`, until the words are gone.
"""

import re
from collections.abc import Iterable, Iterator
from pathlib import Path, PurePosixPath
from typing import NamedTuple

from buildbook.book.loader import decode, parse
from buildbook.book.places import builds, engines, folder_of, shown
from buildbook.book.sync.renumbering import by_id
from buildbook.book.sync.splicing import items
from buildbook.records.finding import Finding, Where
from buildbook.records.tree import MapNode, Node, TextNode

PAIRING = "the pairing"
SIGN_OFFS = "the sign-offs"
WHOLE_FILE = "the whole file"
FIRST = "the first decision"  # the one under `decided`, which has no id
NOTHING = "nothing"
NOTE = "note"

_mark = re.compile(r"conflict in (.+?): (.*?) counts, another bench has (.*?): decide(?=; |$)", re.DOTALL)
_asks = re.compile(r" counts, another bench has (.*?): decide(?=; |$)", re.DOTALL)
_begins = "conflict in "
_SEAL = "seal "


class Mark(NamedTuple):
    """One conflict in words: where, the value that counts until somebody decides, and the other one."""

    where: str
    counts: str
    other: str

    @property
    def words(self) -> str:
        """As it is written down. A value that is itself the answer to such a question is not to be taken for one."""
        counts, other = (_asks.sub(r" and not \1", each) for each in (self.counts, self.other))
        return f"{_begins}{self.where}: {counts} counts, another bench has {other}: decide"


def in_words(marks: Iterable[Mark]) -> str:
    return "; ".join(each.words for each in marks)


def parted(text: str) -> tuple[str, list[Mark]]:
    """A text without its conflicts, and these."""
    marks = [Mark(*found.groups()) for found in _mark.finditer(text)]
    return re.sub(r"(; )+", "; ", _mark.sub("", text)).strip("; ") if marks else text, marks


class Question(NamedTuple):
    """What a person has to decide: the file, where in it, both values, and what holds the question open: a record
    that is void, the file's note, or a file beside."""

    file: str
    where: str
    counts: str
    other: str
    held_by: str
    line: int = 1
    column: int = 1

    @property
    def what(self) -> str:
        """What is asked, in one sentence."""
        if self.where == SIGN_OFFS:
            return f"two benches signed under one id: {self.counts}, and what is {self.other} now"
        if self.where.startswith(_SEAL):
            return "two benches have sealed it differently, and each keeps its own seal"
        if self.where == WHOLE_FILE:
            return (
                "one bench changed it and another took it out, so it is kept"
                if self.held_by == NOTE
                else "another bench's file could not be merged in, and is kept whole beside it"
            )
        if self.where == PAIRING:
            return "two benches decided who goes with whom; the later decision counts until somebody says"
        if not self.counts:
            return "two benches differ here, in words that were changed since"
        if self.other == NOTHING:
            return "it was taken out at one bench, and is kept"
        return "two benches wrote two values; one of them counts until somebody says"

    @property
    def remedies(self) -> tuple[str, ...]:
        """What decides it, one way or the other; 'buildbook keep' then keeps that."""
        close = f"write 'decided' for 'conflict' in the void of {self.held_by}"
        if self.held_by == NOTE:
            close = f"take '{_begins}{self.where} ...' out of the note of {PurePosixPath(self.file).name}"
        if self.where == SIGN_OFFS:
            anew = "see 'buildbook audit', reopen the build and sign it once more"
            return (f"if both hold: {close}", f"if one does not: {anew}; then {close}")
        if self.where.startswith(_SEAL):
            return ("run 'buildbook audit' at both benches; then reopen the build and sign it once more",)
        if self.where == WHOLE_FILE and self.held_by == NOTE:
            gone = f"delete {self.file}, or its folder if all of that was to go, and 'buildbook keep --even-so'"
            return (f"if it stays: {close}", f"if it was to go: enter what is in it alone where it belongs, {gone}")
        if self.where == WHOLE_FILE:
            see = f"git diff --no-index {self.file} {self.held_by}"
            return (f"see '{see}', enter what is missing, then delete {self.held_by}",)
        if self.where == PAIRING:
            name = FIRST if self.other.startswith(FIRST) else self.other.partition(" ")[0]
            anew = f"add one more under 'revised', with the cylinders of {name}"
            return (f"if it stays: {close}", f"if the other is right: {anew}, and {close}")
        if not self.counts:
            return (f"decide, then {close}",)
        if self.other == NOTHING and self.where.endswith(" void"):
            record = self.where.removesuffix(" void")
            return (f"if it stays void: {close}", f"if it counts: take 'void' out of {record}, and {close}")
        if self.other == NOTHING:
            return (f"if it stays: {close}", f"if it is wrong: give its record 'void: why', and {close}")
        yes = f"if {self.counts} is right: {close}"
        if self.held_by != NOTE and self.where.split(" ")[1:2] == ["readings"]:
            return (yes, f"if {self.other} is right: take 'void' out of {self.held_by}, which then counts")
        return (yes, f"if {self.other} is right: write it there, and {close}")


def in_tree(file: str, root: MapNode) -> Iterator[Question]:
    """The conflicts that one file of the ledger holds; `file` is what to call it."""
    for node in root.values.values():
        for record in items(node):
            if isinstance(record, MapNode) and (void := _text(record, "void")).startswith(_begins):
                at = (_text(record, "id") or "a record", record.where.line, record.where.column)
                yield from _questions(file, void, *at)
    note = root.get(NOTE)
    if isinstance(note, TextNode) and not note.is_null:
        for each in _questions(file, note.text, NOTE, note.where.line, note.where.column):
            yield _with_cylinders(root, each) if each.where == PAIRING else each


def _questions(file: str, text: str, held_by: str, line: int, column: int) -> Iterator[Question]:
    rest, marks = parted(text)
    for each in marks:
        yield Question(file, *each, held_by, line, column)
    if _begins in rest:  # somebody reworded it so far that only they can tell
        yield Question(file, held_by, "", rest, held_by, line, column)


def _text(record: MapNode, name: str) -> str:
    node = record.get(name)
    return node.text if isinstance(node, TextNode) and not node.is_null else ""


def _with_cylinders(root: MapNode, question: Question) -> Question:
    """A question about a pairing with all that it takes to answer it: who decided when, and the sets that differ."""
    revised = by_id(root.get("revised"))
    both = [root if name == FIRST else revised.get(name) for name in (question.counts, question.other)]
    cylinders = [record.get("cylinders") if record else None for record in both]
    sets = [dict(each.items()) if isinstance(each, MapNode) else {} for each in cylinders]
    differing = [name for name in {**sets[0], **sets[1]} if _said(sets[0].get(name)) != _said(sets[1].get(name))]
    told = []
    for name, record, these in zip((question.counts, question.other), both, sets, strict=True):
        decided = record.get("decided") if record else None
        said = [_text(decided, field) for field in ("by", "taken")] if isinstance(decided, MapNode) else []
        who = ", ".join(filter(None, said))
        told.append(
            f"{name}{f' ({who})' if who else ''}: " + "; ".join(f"{n}: {_said(these.get(n))}" for n in differing)
        )
    return question._replace(counts=told[0], other=told[1])


def _said(cylinder: Node | None) -> str:
    pieces = cylinder.items() if isinstance(cylinder, MapNode) else ()
    return " ".join(node.text for _, node in pieces if isinstance(node, TextNode) and not node.is_null) or NOTHING


# --- in the files of a book ------------------------------------------------------------------------------------------

_beside = re.compile(r"(.+)\.theirs-[0-9a-f]{7}\.txt").fullmatch


def beside(path: str, commit: str) -> str:
    """The name under which the other bench's file of this path is kept whole."""
    return f"{path}.theirs-{commit[:7]}.txt"


def is_beside(path: str) -> bool:
    return _beside(path) is not None


def two_seals(name: str) -> Question:
    """A seal that this bench and the remote have put on two different commits."""
    return Question("engines", f"{_SEAL}{name}", "the seal of this bench", "the seal of the other", name)


def in_book(book: Path) -> list[Question]:
    """All that is undecided in a book."""
    folders = [book]
    for engine in engines(book):
        folders += [book / "engines" / engine, *(folder_of(book, f"{engine}/{each}") for each in builds(book, engine))]
    return [question for folder in folders for question in in_folder(book, folder)]


def in_folder(book: Path, folder: Path) -> Iterator[Question]:
    """All that is undecided in one folder's own files, and in the folders of other files that it has. What cannot be
    read is for others to say."""
    try:
        paths = sorted(folder.iterdir())
    except OSError:
        return
    for path in paths:
        name = path.relative_to(book).as_posix()
        if found := _beside(name):
            yield Question(found[1], WHOLE_FILE, PurePosixPath(found[1]).name, path.name, name)
        elif path.suffix == ".yaml" and path.is_file() and not path.is_symlink():
            yield from _in_file(path, name)
        elif not path.suffix and path.is_dir() and not path.is_symlink() and not _is_apart(book, path):
            yield from in_folder(book, path)


def _is_apart(book: Path, folder: Path) -> bool:
    """Whether a folder is looked through by itself, engines and builds, or is none of the book's, such as `.git`."""
    engines_ = book / "engines"
    return folder == engines_ or engines_ in (folder.parent, folder.parent.parent) or folder.name.startswith(".")


def _in_file(path: Path, name: str) -> Iterator[Question]:
    try:
        content = path.read_bytes()
    except OSError:
        return
    if _begins.encode() in content:  # few are, and parsing takes longer than reading
        text, _ = decode(content, name)
        root, _ = parse(text, name) if text is not None else (None, ())
        if root is not None:
            yield from in_tree(name, root)


def findings(book: Path, folder: Path) -> list[Finding]:
    """What `check` says of them."""
    return [as_finding(book, each) for each in in_folder(book, folder)]


def as_finding(book: Path, question: Question) -> Finding:
    values = f": {question.counts or 'one'}, or {question.other}"
    what = f"{question.where}: {question.what}{values}"
    why = "Both were entered, and only a person can say which is right."
    where = Where(shown(book / question.file), question.line, question.column)
    return Finding("warning", "undecided", where, what, why, "; ".join(question.remedies))
