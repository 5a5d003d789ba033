"""Seals of builds: what a folder comes to as one digest, the tags in git that keep it, and what differs from it since.

A sealed build is its folder and its engine's `engine.yaml`, as they stand in the commit that holds the sign-off. An
annotated tag `sealed/<engine>/<build>/<sign-off>` points at that commit; its message ends in the trailers `Build`,
`Record`, `Digest` (of these files) and `Figures-Digest` (of the signed figures). The sign-off itself carries the digest
of the same files just before it was added, which is the digest of the commit before: so the record, the tag and the
history each vouch for the others, and one that was changed alone no longer agrees. Whoever can rewrite all three and
holds no signing key is found by any copy of the book that was made before, and by nothing else.
"""

import os
from collections.abc import Container, Iterable, Iterator, Mapping
from hashlib import sha256
from pathlib import Path
from shlex import quote
from typing import NamedTuple

from buildbook.book import git
from buildbook.book.commits import Held, objects
from buildbook.book.lineage import Step, Steps, inside
from buildbook.book.loader import decode, parse
from buildbook.book.places import UNFINISHED, folder_of, shown, top_of
from buildbook.records.finding import Where
from buildbook.records.tree import ListNode, MapNode, Node, TextNode

PREFIX = "sealed/"
_BEGINS_A_SIGNATURE = "-----BEGIN "

Files = Mapping[Path, bytes]


class Seal(NamedTuple):
    """A tag that seals a build: which build and sign-off by its name, the commit it points at, what its message says,
    and whether that commit is still part of the book's history. An annotated tag alone can hold a digest."""

    tag: str
    build: str
    sign_off: str
    annotated: bool
    commit: str
    message: str
    in_history: bool

    @property
    def said(self) -> Mapping[str, str]:
        """The trailers of its message."""
        pairs = (line.partition(": ") for line in self.message.splitlines() if ": " in line)
        return {name: value.strip() for name, _, value in pairs if name in {"Build", "Record", "Digest", _FIGURES}}

    @property
    def signed(self) -> bool:
        return _BEGINS_A_SIGNATURE in self.message


_FIGURES = "Figures-Digest"


def digest_of(book: Path, files: Files) -> str:
    """SHA-256 over the files in the order of their names from the book's folder: of each its name, a zero byte, the
    length of its content, a zero byte, and the content."""
    whole = sha256()
    for name, content in sorted((path.relative_to(book).as_posix(), content) for path, content in files.items()):
        whole.update(f"{name}\0{len(content)}\0".encode())
        whole.update(content)
    return f"sha256:{whole.hexdigest()}"


def committed(book: Path, build: str, revision: str) -> dict[Path, bytes]:
    """The files of a build, and its engine's own, in a commit; nothing where it was not there. Raises NotKept."""
    return committed_all(book, [(build, revision)])[build, revision]


State = tuple[str, str]  # a build, and a commit by its name or as `3fe21ab^`, the one before


def committed_all(book: Path, states: Iterable[State]) -> dict[State, dict[Path, bytes]]:
    """Many builds as they were in many commits, through as few processes as folders lie in each other."""
    found: dict[State, dict[Path, str]] = {state: {} for state in states}
    folders = []
    for state in found:
        folder = folder_of(book, state[0])
        folders += [(state, folder, f"{state[1]}:{folder.relative_to(book).as_posix()}")]
        engine = folder.parent / "engine.yaml"
        found[state][engine] = f"{state[1]}:{engine.relative_to(book).as_posix()}"
    while folders:
        deeper = []
        for (state, folder, _), tree in zip(folders, objects(book, [name for _, _, name in folders]), strict=True):
            for name, object_id, is_folder in _entries(tree) if tree is not None else ():
                path = folder / name
                if is_folder:
                    deeper.append((state, path, object_id))
                else:
                    found[state][path] = object_id
        folders = deeper
    names = list(dict.fromkeys(name for files in found.values() for name in files.values()))
    held = dict(zip(names, objects(book, names), strict=True))
    return {
        state: {path: content.body for path, name in files.items() if (content := held[name]) is not None}
        for state, files in found.items()
    }


def _entries(tree: Held) -> Iterator[tuple[str, str, bool]]:
    """What a folder held: of each its name, its object and whether it is a folder. In git, each is `mode name`, a zero
    byte, and the id as bytes. What is neither file nor folder is a repository of its own, and not of the book."""
    width = len(tree.id) // 2
    at = 0
    while at < len(tree.body):
        end = tree.body.index(b"\0", at)
        mode, _, name = tree.body[at:end].partition(b" ")
        at = end + 1 + width
        if mode != b"160000":
            yield os.fsdecode(name), tree.body[end + 1 : at].hex(), mode == b"40000"


def on_disk(book: Path, build: str, known: Iterable[Path] = ()) -> dict[Path, bytes]:
    """The files of a build, and its engine's own, as they are today: all but hidden ones. With `known`, a file that is
    neither among these nor of the ledger (`.yaml`) is left out: a photograph may lie in the folder."""
    folder = folder_of(book, build)
    wanted = set(known)
    paths = [folder.parent / "engine.yaml"]
    if folder.is_dir() and not folder.is_symlink():
        paths += sorted(path for path in folder.rglob("*") if not path.name.startswith("."))
    found = {}
    for path in paths:
        is_ledger = path.suffix in {".yaml", ".yml"}
        if path.is_file() and not path.is_symlink() and (not wanted or path in wanted or is_ledger):
            found[path] = path.read_bytes()
    return found


def not_in_git(book: Path, build: str) -> list[Path]:
    """The files of a build, or its engine's own, that differ from the last commit or are not in git. Raises NotKept.

    What a killed command left half written is none: the next one that writes takes it away. Nor is what no command
    keeps, such as a page that was printed here.
    """
    from buildbook.book.kept import kind_of

    folder = folder_of(book, build)
    changed = [each.path for each in git.changed(book, folder, folder.parent / "engine.yaml")]
    return [path for path in changed if not path.name.endswith(UNFINISHED) and kind_of(book, path) is not None]


def command(book: Path, words: str, path: Path) -> str:
    """A git command on one file or folder (`checkout 3fe21ab --`), as it works where one stands."""
    here = Path.cwd()
    if book in (here, *here.parents):
        return f"git {words} {quote(shown(path))}"
    return f"git -C {quote(shown(book))} {words} {quote(path.relative_to(book).as_posix())}"


def seals(book: Path) -> list[Seal]:
    """All seals of a book, in the order of their names. Raises NotKept where it has no commit yet."""
    shape = "%(refname)%00%(objecttype)%00%(objectname)%00%(*objectname)%00%(contents)%00%01"
    said = git.run(book, "for-each-ref", f"--format={shape}", f"refs/tags/{PREFIX}").decode(errors="replace")
    merged = git.run(book, "for-each-ref", "--merged=HEAD", "--format=%(refname)", f"refs/tags/{PREFIX}")
    in_history = set(merged.decode(errors="replace").split("\n"))
    return [each for text in said.split("\0\x01")[:-1] if (each := _seal(text.lstrip("\n"), in_history)) is not None]


def _seal(text: str, in_history: set[str]) -> Seal | None:
    name, kind, own, target, message = text.split("\0", 4)
    tag = name.removeprefix("refs/tags/")
    build, _, sign_off = tag.removeprefix(PREFIX).rpartition("/")
    if build.count("/") != 1:
        return None
    return Seal(tag, build, sign_off, kind == "tag", target or own, message, name in in_history)


def fault_of(book: Path, seal: Seal, files: Files, entered_as: str | None = None) -> str | None:
    """Why a seal does not hold by itself: its message and what its commit has of the build (`files`) do not belong
    together. None where they do. A sign-off that was renumbered since, and its seal with it, was `entered_as` another.
    """
    if not seal.annotated:
        return "the tag is a plain one, which keeps no digest"
    said = seal.said
    if said.get("Build") != seal.build or said.get("Record") not in {seal.sign_off, entered_as}:
        return f"the tag's message is that of {said.get('Build', 'no build')} {said.get('Record', '')}".rstrip()
    if said.get("Digest") != digest_of(book, files):
        return "the tag's message does not have the digest of the commit that it points at"
    return None


def signature_fault(book: Path, seal: Seal) -> str | None:
    """What git says against the signature of a signed tag; None where it holds."""
    try:
        git.run(book, "verify-tag", seal.tag)
    except git.NotKept as reason:
        return str(reason)
    return None


def make(book: Path, build: str, sign_off: str, commit: str, text: str, figures_digest: str, who: str) -> str:
    """Tag a commit as the sealed state of a build, signed where git is set up to sign, and say how. Raises NotKept.

    `text` is for a person; the trailers follow it. `who` is `Name <email>`, where git knows no one of its own.
    """
    digest = digest_of(book, committed(book, build, commit))
    trailers = {"Build": build, "Record": sign_off, "Digest": digest, _FIGURES: figures_digest}
    message = f"{text}\n\n" + "".join(f"{name}: {value}\n" for name, value in trailers.items())
    name = f"{PREFIX}{build}/{sign_off}"
    given = ("--cleanup=verbatim", "--file=-", name, commit)
    before = _identity(book, who)
    forced = _setting(book, "tag.gpgSign") in {"true", "yes", "on", "1"}
    if not forced and not _setting(book, "user.signingKey"):
        git.run(book, *before, "tag", "--annotate", *given, stdin=message.encode())
        return f"sealed with the tag {name}"
    try:
        git.run(book, *before, "tag", "--sign", *given, stdin=message.encode())
        if _BEGINS_A_SIGNATURE.encode() in git.run(book, "cat-file", "tag", name):
            return f"sealed with the signed tag {name}"
        # git up to 2.39 at least makes an unsigned tag, and says nothing, where an ssh key does not work
        git.run(book, "tag", "--delete", name)
        raise git.NotKept("git did not sign it: the key of user.signingKey does not work here")
    except git.NotKept as reason:
        if forced:
            raise
        git.run(book, *before, "tag", "--annotate", "--no-sign", *given, stdin=message.encode())
        return f"sealed with the tag {name}, which is not signed: {reason}"


def _identity(book: Path, who: str) -> list[str]:
    try:
        git.run(book, "var", "GIT_COMMITTER_IDENT")
    except git.NotKept:
        name, _, email = who.partition(" <")
        return ["-c", f"user.name={name}", "-c", f"user.email={email.rstrip('>')}"]
    return []


def _setting(book: Path, name: str) -> str:
    try:
        return git.run(book, "config", "--get", name).decode(errors="replace").strip().lower()
    except git.NotKept:
        return ""


# What differs, by meaning.


class Altered(NamedTuple):
    """One thing that is not as it was: in which file, at which field or record (None for the file as a whole), and
    where that is today. `added` is a whole record, or a whole file, that was not there."""

    path: Path
    steps: Steps | None
    what: str
    where: Where
    added: bool = False


# What merges gave another id: (file, list, id before) → id after.
Renamed = dict[tuple[Path, Step, Step], str]


def differences(before: Files, after: Files, renamed: Renamed | None = None) -> list[Altered]:
    """What differs between two states of a build, in the order of the files. What a merge `renamed` differs neither in
    its id, nor in the remark on it, nor in what refers to it."""
    found: list[Altered] = []
    ids = {(old, new) for (_, _, old), new in (renamed or {}).items()}
    for path in sorted({*before, *after}):
        lists = {(field, old): new for (of, field, old), new in (renamed or {}).items() if of == path}
        found += _in_file(path, before.get(path), after.get(path), _Ids(lists, ids))
    return found


class _Ids(NamedTuple):
    """Ids that a merge changed: in the lists of one file, (list, id before) → id after; and in all files, both."""

    lists: Mapping[tuple[Step, Step], str]
    everywhere: Container[tuple[Step, str]]

    def after(self, above: Steps, step: Step) -> Step:
        return self.lists.get((above[0], step), step) if len(above) == 1 else step

    def explains(self, steps: Steps, before: TextNode, after: TextNode) -> bool:
        """Whether a text is another only because a record has another id."""
        refers = {"id", "from", "step", "sign_off"} & {*steps}
        return bool(refers) and (before.text, after.text) in self.everywhere

    def remarked(self, steps: Steps, before: Node | None, after: Node | None) -> bool:
        """Whether a record's note is another only because it says what its id was."""
        old = next((old for (field, old), new in self.lists.items() if steps == (field, new)), None)
        if old is None or not isinstance(after, TextNode):
            return False
        remark = f"entered as {old}"
        text = before.text if isinstance(before, TextNode) and not before.is_null else ""
        return after.text == (f"{text} ({remark})" if text else remark)


def _in_file(path: Path, before: bytes | None, after: bytes | None, ids: _Ids) -> Iterator[Altered]:
    top = top_of(path)
    if before == after:
        return
    if before is None:
        yield Altered(path, None, f"{path.name} was not there", top, added=True)
    elif after is None:
        yield Altered(path, None, f"{path.name} is gone", top)
    elif path.suffix not in {".yaml", ".yml"}:
        yield Altered(path, None, f"{path.name} has another content", top)
    elif before.replace(b"\r\n", b"\n") != after.replace(b"\r\n", b"\n"):  # git may write either on a disk
        old, new = tree(path, before), tree(path, after)
        if old is None or new is None:
            what = f"{path.name} {'cannot be read any more' if new is None else 'is another text'}"
            yield Altered(path, None, what, _first_line(path, before, after))
            return
        changes = list(_in_node(path, (), old, new, top, ids))
        yield from changes
        if not changes and not ids.lists:
            where = _first_line(path, before, after)
            yield Altered(path, None, f"comments or the layout of {path.name} are others, no value", where)


def _first_line(path: Path, before: bytes, after: bytes) -> Where:
    old, new = before.splitlines(), after.splitlines()
    same = next((at for at, (one, other) in enumerate(zip(old, new, strict=False)) if one != other), len(old))
    return Where(shown(path), min(same, max(len(new) - 1, 0)) + 1, 1)


def tree(path: Path, content: bytes | None) -> MapNode | None:
    """The tree of a file's content, where it can be read."""
    text = decode(content, shown(path))[0] if content is not None else None
    return parse(text, shown(path))[0] if text is not None else None


def _in_node(path: Path, steps: Steps, before: Node, after: Node, where: Where, ids: _Ids) -> Iterator[Altered]:
    if isinstance(before, TextNode) and isinstance(after, TextNode):
        is_other = (before.text, type(before.value)) != (after.text, type(after.value))
        if is_other and not ids.explains(steps, before, after):
            yield Altered(path, steps, f"{_name(steps)}: {_short(before)} → {_short(after)}", after.where)
        return
    if not isinstance(before, TextNode) and type(before) is type(after):
        old, new = {ids.after(steps, step): node for step, node in inside(before).items()}, inside(after)
        for step in [*old, *(step for step in new if step not in old)]:
            deeper = (*steps, step)
            if step == "note" and ids.remarked(steps, old.get(step), new.get(step)):
                continue
            if step not in new:
                place = after.where if isinstance(after, MapNode | ListNode) else where
                yield Altered(path, deeper, f"{_name(deeper)} is gone: {_short(old[step])}", place)
            elif step not in old:
                record = isinstance(after, ListNode)
                said = _short(new[step])
                yield Altered(path, deeper, f"{_name(deeper)} was not there: {said}", new[step].where, added=record)
            else:
                yield from _in_node(path, deeper, old[step], new[step], where, ids)
        return
    yield Altered(path, steps, f"{_name(steps)}: {_short(before)} → {_short(after)}", after.where)


def _name(steps: Steps) -> str:
    """`W3 readings R1`: a record's id says enough without the list that it is in."""
    words = [f"#{step + 1}" if isinstance(step, int) else step for step in steps]
    named = len(words) > 1 and words[0] in {"sessions", "steps", "sign_offs", "reopened", "revised", "parts"}
    return " ".join(words[1:] if named else words)


def _short(node: Node) -> str:
    text = (node.text or "nothing") if isinstance(node, TextNode) else _in_words(node.value)
    return text if len(text) <= 60 else f"{text[:59]}…"


def _in_words(value: object) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{name} {_in_words(inner)}" for name, inner in value.items())
    return " ".join(map(_in_words, value)) if isinstance(value, list) else str(value)
