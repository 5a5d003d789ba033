"""Carries a book between benches through git: fetch, merge by records, push.

Git's plumbing makes the merge beside the work tree, and the push goes first: only what the other side has accepted
is checked out, so that at any failure the work tree and the branch are as they were.
"""

import re
import tempfile
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path, PurePosixPath
from typing import Literal, NamedTuple

from buildbook.book import git
from buildbook.book.loader import decode, parse
from buildbook.book.merging import Merged, Question, Renumbered, Side, meaning, merge_texts
from buildbook.book.places import Misuse, shown, top_of
from buildbook.book.writing import lock
from buildbook.records.finding import Where
from buildbook.records.model import MEASUREMENT_KINDS, WEIGHING_KINDS
from buildbook.records.read import BUILD_FILES
from buildbook.records.tree import ListNode, MapNode, TextNode

TRIES = 5

# No remote's address can name a program, and nothing goes on in the background.
_CAREFUL = ("-c", "protocol.ext.allow=never", "-c", "gc.auto=0")

_BELONGS = {"engines", "shop.yaml", "schemas", ".gitattributes", ".gitignore"}

_SEALS = "refs/tags/sealed/"

# Records name those of the files before theirs.
_ORDER = ("weighings", "clearances", "parts", "build", "spins", "pairings")


class Entered(NamedTuple):
    """What one bench entered into one build (or the shop's or an engine's own file)."""

    build: str
    records: tuple[str, ...]  # each in words: `W4 piston`
    by: tuple[str, ...]
    files: tuple[str, ...]


class Synced(NamedTuple):
    """What a sync came to. `saved` are files kept whole beside ours."""

    outcome: Literal["nothing", "sent", "received", "merged"]
    remote: str
    branch: str
    commit: str
    taken: tuple[Entered, ...] = ()
    sent: tuple[Entered, ...] = ()
    questions: tuple[Question, ...] = ()
    renumbered: tuple[Renumbered, ...] = ()
    saved: tuple[str, ...] = ()
    seals_taken: tuple[str, ...] = ()
    seals_sent: tuple[str, ...] = ()
    tries: int = 1


class Entry(NamedTuple):
    """One file of a tree: its mode and the id of its content."""

    mode: str
    blob: str


Tree = dict[str, Entry]


class _Raced(Exception):
    """Somebody else was quicker: begin again with what is there now."""


class _Remote(NamedTuple):
    name: str | None  # None where a bare address was given
    fetch: str
    push: str

    @property
    def shown(self) -> str:
        return self.name or self.fetch


def sync(book: Path, given: str | None = None) -> Synced:
    """Bring the book and its remote together. Raises Misuse where it may not begin, NotKept where git cannot."""
    branch = _ready(book)
    remote = _remote(book, given, branch)
    for attempt in range(1, TRIES + 1):
        try:
            return _once(book, remote, branch)._replace(tries=attempt)
        except _Raced:
            continue
    raise Misuse(f"other benches were quicker {TRIES} times running", "nothing was changed here; sync again")


def _run(book: Path, *arguments: str, stdin: bytes = b"") -> bytes:
    return git.run(book, *_CAREFUL, *arguments, stdin=stdin)


def _said(book: Path, *arguments: str) -> str | None:
    """What git answers, None where it has no answer."""
    try:
        return _run(book, *arguments).decode(errors="replace").strip()
    except git.NotKept:
        return None


# --- whether it may begin --------------------------------------------------------------------------------------------


def _ready(book: Path) -> str:
    """The branch, where the book stands so that a sync can begin. Raises Misuse."""
    if (amiss := git.situation(book)) is not None:
        raise Misuse(amiss.what, amiss.remedy)
    _nothing_unkept(book)
    return _run(book, "symbolic-ref", "--short", "HEAD").decode().strip()


def _nothing_unkept(book: Path) -> None:
    said = git.run(book, *git.STATUS).decode(errors="replace").split("\0")
    lines = [(line[:2], line[3:]) for line in said if line]
    unkept = [path for how, path in lines if kind_of(path) or (how != "??" and _top(path) in _BELONGS)]
    if unkept:
        more = f" and {len(unkept) - 1} more" if len(unkept) > 1 else ""
        raise Misuse(f"{unkept[0]}{more} has changes that are not in git yet", "run 'buildbook keep' first")


def _top(path: str) -> str:
    return path.partition("/")[0]


def kind_of(path: str) -> str | None:
    """The kind of ledger file that a path of the book is, None where it is none."""
    parts = PurePosixPath(path).parts
    name = parts[-1].removesuffix(".yaml") if parts and parts[-1].endswith(".yaml") else None
    if parts == ("shop.yaml",):
        return "shop"
    if len(parts) == 3 and parts[0] == "engines" and name == "engine":
        return "engine"
    return name if len(parts) == 4 and parts[0] == "engines" and name in BUILD_FILES else None


def _remote(book: Path, given: str | None, branch: str) -> _Remote:
    """The remote to use: as named, or the branch's own, or the only one there is. Raises Misuse."""
    names = (_said(book, "remote") or "").split()
    if given is not None and given not in names and not re.search(r"[/:\\]", given):
        known = f"it has {', '.join(names)}" if names else "it has none yet: git remote add NAME URL"
        raise Misuse(f"there is no remote named '{given[:60]}' in this book", known)
    if given is not None and given not in names:
        return _Remote(None, _address(given), _address(given))
    name = given or _said(book, "config", f"branch.{branch}.remote")
    if name not in names:
        name = names[0] if len(names) == 1 else "origin" if "origin" in names else None
    if name is None and names:
        raise Misuse("which remote is meant is not said", f"add --remote NAME ({', '.join(names)})")
    if name is None:
        remedy = "add it once: 'git remote add origin URL', or name it with --remote URL"
        raise Misuse("this book has no remote to bring together with", remedy)
    fetch, push = _said(book, "remote", "get-url", name), _said(book, "remote", "get-url", "--push", name)
    return _Remote(name, _address(fetch or ""), _address(push or ""))


def _address(url: str) -> str:
    """A remote's address that can only be an address. Raises Misuse."""
    if not url or url.startswith("-") or "::" in re.split(r"[/@\[]", url, maxsplit=1)[0] or not url.isprintable():
        what = f"the remote's address '{url[:60]}' could make git run a program"
        raise Misuse(what, "use a plain one: https://…, ssh://…, name@machine:path, or a folder")
    return url


# --- one try ---------------------------------------------------------------------------------------------------------


class _There(NamedTuple):
    """What the remote has: its commit of the branch, None where it has none yet, and its seals."""

    tip: str | None
    seals: Mapping[str, str]


def _once(book: Path, remote: _Remote, branch: str) -> Synced:
    head = _run(book, "rev-parse", "HEAD").decode().strip()
    there, seals = _there(book, remote, branch), _seals(book)
    tip = there.tip
    differing = [name for name, id_ in there.seals.items() if seals.get(name, id_) != id_]
    done = Synced(
        "nothing",
        remote.shown,
        branch,
        head,
        questions=tuple(_two_seals(name) for name in differing),
        seals_taken=tuple(name for name in there.seals if name not in seals and tip is not None),
        seals_sent=tuple(name for name in seals if name not in there.seals),
    )
    if tip is not None and (tip != head or done.seals_taken):
        _fetch(book, remote, branch, done.seals_taken)
        if _said(book, "cat-file", "-e", f"{tip}^{{commit}}") is None:  # it moved on meanwhile
            raise _Raced
    done = _bring_together(book, remote, there, done)
    for name in done.seals_taken:
        _run(book, "update-ref", name, there.seals[name], "")
    return done


def _bring_together(book: Path, remote: _Remote, there: _There, done: Synced) -> Synced:
    """Send, receive, or merge and send; the seals of this bench go with it."""
    head, tip, branch = done.commit, there.tip, done.branch
    if tip == head:
        if done.seals_sent:
            _push(book, remote, branch, head, there, done.seals_sent)
        return done._replace(outcome="sent" if done.seals_sent else "received" if done.seals_taken else "nothing")
    ours = _tree(book, head)
    if tip is None or _is_ancestor(book, tip, head):
        _push(book, remote, branch, head, there, done.seals_sent)
        base = _tree(book, tip) if tip is not None else {}
        return done._replace(outcome="sent", sent=_entered(book, base, ours))
    theirs = _tree(book, tip)
    _refuse_hostile(theirs, ours)
    if _is_ancestor(book, head, tip):
        if done.seals_sent:
            _push(book, remote, branch, tip, there, done.seals_sent)
        _check_out(book, head, ours, tip, theirs)
        return done._replace(outcome="received", commit=tip, taken=_entered(book, ours, theirs))
    common = _said(book, "merge-base", head, tip)
    if not common:
        raise Misuse(f"{remote.shown} holds another book: the two have no common beginning", "name the right remote")
    base = _tree(book, common)
    made = _merge(book, base, ours, theirs, tip)
    done = done._replace(
        outcome="merged",
        taken=_entered(book, base, theirs),
        sent=_entered(book, base, ours),
        questions=(*done.questions, *made.questions),
        renumbered=tuple(made.renumbered),
        saved=tuple(made.saved),
    )
    made_of = (_write_tree(book, made.tree), "-p", head, "-p", tip, "-F", "-")
    commit = _run(book, *_identity(book), "commit-tree", *made_of, stdin=_message(done).encode())
    done = done._replace(commit=commit.decode().strip())
    _refuse_in_the_way(book, ours, made.tree)
    _push(book, remote, branch, done.commit, there, done.seals_sent)
    _check_out(book, head, ours, done.commit, made.tree)
    return done


def _there(book: Path, remote: _Remote, branch: str) -> _There:
    said = _run(book, "ls-remote", "--", remote.fetch, f"refs/heads/{branch}", f"{_SEALS}*").decode(errors="replace")
    refs = {name: id_ for id_, _, name in (line.partition("\t") for line in said.splitlines())}
    seals = {name: id_ for name, id_ in refs.items() if name.startswith(_SEALS) and not name.endswith("^{}")}
    return _There(refs.get(f"refs/heads/{branch}"), seals)


def _seals(book: Path) -> dict[str, str]:
    """The tags that seal builds here: name and id."""
    said = _run(book, "for-each-ref", "--format=%(refname) %(objectname)", _SEALS).decode(errors="replace")
    return dict(line.split(" ") for line in said.splitlines())


def _two_seals(name: str) -> Question:
    what = "the two benches have sealed it differently, and each keeps its own seal"
    return Question("engines", name.removeprefix("refs/tags/"), what, "this bench's seal", "the other bench's seal")


def _fetch(book: Path, remote: _Remote, branch: str, seals: Sequence[str]) -> None:
    """Bring what is there into git's store; the seals themselves are set when all has gone well."""
    tracking = f":refs/remotes/{remote.name}/{branch}" if remote.name else ""
    programs = ("--upload-pack=git-upload-pack", "--no-tags", "--no-recurse-submodules", "--quiet")
    _run(book, "fetch", *programs, "--", remote.fetch, f"+refs/heads/{branch}{tracking}", *seals)


def _push(book: Path, remote: _Remote, branch: str, commit: str, there: _There, seals: Sequence[str]) -> None:
    """Send a commit and seals. Raises _Raced where the other side moved on meanwhile, NotKept where it refuses."""
    programs = ("--receive-pack=git-receive-pack", "--no-recurse-submodules", "--quiet")
    try:
        _run(book, "push", *programs, "--", remote.push, f"{commit}:refs/heads/{branch}", *seals)
    except git.NotKept:
        if _there(book, remote, branch) != there:
            raise _Raced from None
        raise
    if remote.name:
        _said(book, "update-ref", f"refs/remotes/{remote.name}/{branch}", commit)


def _is_ancestor(book: Path, older: str, newer: str) -> bool:
    return _said(book, "merge-base", "--is-ancestor", older, newer) is not None


def _identity(book: Path) -> tuple[str, ...]:
    """Who merges: whoever git knows, or the program itself."""
    if _said(book, "var", "GIT_COMMITTER_IDENT") is not None:
        return ()
    return "-c", "user.name=buildbook", "-c", "user.email=buildbook@localhost"


# --- trees -----------------------------------------------------------------------------------------------------------


def _tree(book: Path, commit: str) -> Tree:
    """Every file of a commit."""
    tree = {}
    for line in _run(book, "ls-tree", "-r", "-z", "--full-tree", commit).split(b"\0"):
        if line:
            about, _, path = line.partition(b"\t")
            mode, _, blob = about.decode().split(" ")
            tree[path.decode(errors="surrogateescape")] = Entry(mode, blob)
    return tree


def _refuse_hostile(theirs: Tree, ours: Tree) -> None:
    """Nothing is checked out that could lead out of the book or has no place in one. Raises Misuse."""
    remedy = "nothing was checked out; ask whoever keeps the other bench to take it out"
    for path, entry in theirs.items():
        if ours.get(path) == entry:
            continue
        parts = path.split("/")
        if entry.mode not in {"100644", "100755"}:
            what = {"120000": "a link", "160000": "another repository"}.get(entry.mode, "no plain file")
            raise Misuse(f"{path} at the other bench is {what}, not a file", remedy)
        if any(part.lower() in {"", ".", "..", ".git"} for part in parts) or not path.isprintable() or "\\" in path:
            raise Misuse(f"the other bench has a path that leads out of the book: {path}", remedy)
        if parts[0] not in _BELONGS or (len(parts) == 1 and parts[0] in {"engines", "schemas"}):
            raise Misuse(f"{path} at the other bench has no place in a book", remedy)


def _write_tree(book: Path, tree: Tree) -> str:
    """Keep a tree in git, folder by folder from the deepest: one process for each depth."""
    folders: dict[str, dict[str, tuple[str, str, str]]] = defaultdict(dict)
    for path, entry in tree.items():
        folder, _, name = path.rpartition("/")
        folders[folder][name] = (entry.mode, "blob" if entry.mode != "160000" else "commit", entry.blob)
        while folder:  # every folder on the way up, also those that hold only folders
            folder = folder.rpartition("/")[0]
            folders[folder]
    by_depth: dict[int, list[str]] = defaultdict(list)
    for folder in folders:
        by_depth[len(folder.split("/")) if folder else 0].append(folder)
    ids: list[str] = []
    for depth in sorted(by_depth, reverse=True):
        listed = [
            b"".join(
                f"{mode} {what} {id_}\t{name}".encode(errors="surrogateescape") + b"\0"
                for name, (mode, what, id_) in folders[folder].items()
            )
            for folder in by_depth[depth]
        ]
        ids = _run(book, "mktree", "-z", "--batch", stdin=b"\0".join(listed)).decode().split()
        for folder, id_ in zip(by_depth[depth], ids, strict=True):
            if folder:
                above, _, name = folder.rpartition("/")
                folders[above][name] = ("040000", "tree", id_)
    return ids[0]


def _blobs(book: Path, wanted: Iterable[str]) -> dict[str, bytes]:
    """Contents by their ids, all through one process."""
    ids = list(dict.fromkeys(wanted))
    if not ids:
        return {}
    said = _run(book, "cat-file", "--batch", stdin="".join(f"{id_}\n" for id_ in ids).encode())
    found, at = {}, 0
    for id_ in ids:
        end = said.index(b"\n", at)
        size = int(said[at:end].rsplit(b" ", 1)[1])
        found[id_] = said[end + 1 : end + 1 + size]
        at = end + 1 + size + 1
    return found


# --- the merge -------------------------------------------------------------------------------------------------------


class _Made(NamedTuple):
    tree: Tree
    questions: list[Question]
    renumbered: list[Renumbered]
    saved: list[str]


def _merge(book: Path, base: Tree, ours: Tree, theirs: Tree, tip: str) -> _Made:
    """The merged tree of three, file by file."""
    made = _Made({}, [], [], [])
    both: list[str] = []
    for path in sorted({*ours, *theirs}):
        old, mine, other = base.get(path), ours.get(path), theirs.get(path)
        if mine and other and mine != other:
            both.append(path)  # also where one side left it alone: what it names may have been renumbered
        elif mine and other:
            made.tree[path] = mine
        elif (mine or other) != old:  # new, or changed here and taken out there
            made.tree[path] = entry = mine or other  # type: ignore[assignment]
            assert entry is not None
            if old:
                out, changed = ("the other bench", "this one") if mine else ("this bench", "the other one")
                what = f"it was taken out at {out} and changed at {changed}, so it is kept"
                made.questions.append(Question(path, "the whole file", what, "", ""))
    contents = _blobs(book, [tree[path].blob for path in both for tree in (base, ours, theirs) if path in tree])
    followed: dict[str, dict[Side, dict[str, str]]] = defaultdict(lambda: {"ours": {}, "theirs": {}})
    for path in sorted(both, key=_in_order):
        _merge_file(book, path, (base, ours, theirs), contents, tip, followed[path.rpartition("/")[0]], made)
    return made


def _in_order(path: str) -> tuple[str, int, str]:
    folder, _, name = path.rpartition("/")
    kind = kind_of(path)
    return folder, _ORDER.index(kind) if kind in _ORDER else 0, name


def _merge_file(
    book: Path,
    path: str,
    trees: tuple[Tree, Tree, Tree],
    contents: Mapping[str, bytes],
    tip: str,
    followed: dict[Side, dict[str, str]],
    made: _Made,
) -> None:
    _, ours, theirs = trees
    old, mine, other = (contents[tree[path].blob] if path in tree else None for tree in trees)
    assert mine is not None
    assert other is not None
    modes = [tree[path].mode if path in tree else "" for tree in trees]
    mode = modes[2] if modes[1] == modes[0] else modes[1]
    content, merged = merge_contents(book, kind_of(path), path, old, mine, other, followed)
    blob = ours[path].blob if content == mine else theirs[path].blob if content == other else _keep_blob(book, content)
    made.tree[path] = Entry(mode, blob)
    made.questions.extend(each._replace(file=path) for each in merged.questions)
    made.renumbered.extend(each._replace(file=path) for each in merged.renumbered)
    for each in merged.renumbered:
        followed[each.side][each.old] = each.new
    if merged.whole:
        beside = f"{path}.theirs-{tip[:7]}.txt"
        made.tree[beside] = Entry("100644", theirs[path].blob)
        made.saved.append(beside)


def _keep_blob(book: Path, content: bytes) -> str:
    return _run(book, "hash-object", "-w", "--no-filters", "--stdin", stdin=content).decode().strip()


def merge_contents(
    book: Path,
    kind: str | None,
    path: str,
    base: bytes | None,
    ours: bytes,
    theirs: bytes,
    followed: Mapping[Side, Mapping[str, str]] | None = None,
) -> tuple[bytes, Merged]:
    """Merge one file: a ledger's by its records, any other as git does. Where that cannot be, ours, and `whole`."""
    texts = [decode(content, path)[0] if content is not None else None for content in (base, ours, theirs)]
    if kind is not None and texts[1] is not None and texts[2] is not None and (base is None or texts[0] is not None):

        def line_merge(*versions: str) -> str | None:
            merged = _merged_by_lines(book, *(version.encode() for version in versions))
            return merged.decode() if merged is not None else None

        merged = merge_texts(kind, texts[0], texts[1], texts[2], line_merge=line_merge, followed=followed)
        if merged.text == texts[1]:
            return ours, merged
        mark = ours[: len(ours) - len(texts[1].encode())]  # a byte-order mark stays where it was
        return mark + merged.text.encode(), merged
    if theirs in (base, ours):
        return ours, Merged("")
    by_lines = theirs if ours == base else _merged_by_lines(book, base or b"", ours, theirs)
    if by_lines is not None:
        return by_lines, Merged("")
    what = "both benches changed it in the same place: ours is kept, and the other bench's whole beside it"
    return ours, Merged("", (Question(path, "the whole file", what, "this file", "the file beside it"),), (), True)


def _merged_by_lines(book: Path, base: bytes, ours: bytes, theirs: bytes) -> bytes | None:
    """Git's own merge of three contents, None where it conflicts."""
    with tempfile.TemporaryDirectory() as folder:
        names = []
        for name, content in (("ours", ours), ("base", base), ("theirs", theirs)):
            (Path(folder) / name).write_bytes(content)
            names.append(str(Path(folder) / name))
        try:
            return _run(book, "merge-file", "-p", "--quiet", *names)
        except git.NotKept:
            return None


# --- into the work tree ----------------------------------------------------------------------------------------------


def _changed(old: Tree, new: Tree) -> list[str]:
    return [path for path in sorted({*old, *new}) if old.get(path) != new.get(path)]


def _refuse_in_the_way(book: Path, ours: Tree, new: Tree) -> None:
    for path in _changed(ours, new):
        there = book / path
        if path not in ours and (there.exists() or there.is_symlink()):
            raise Misuse(f"{path} comes from the other bench, and a file of that name is here", "move it away first")
        above = book
        for part in PurePosixPath(path).parts[:-1]:
            above /= part
            if above.is_symlink() or (above.exists() and not above.is_dir()):
                raise Misuse(
                    f"{path} comes from the other bench, and {part} is not a folder here", "move it away first"
                )


def _check_out(book: Path, head: str, ours: Tree, commit: str, new: Tree) -> None:
    """Move the branch and the files that differ to a later commit, all or nothing."""
    with lock(book):
        if _said(book, "rev-parse", "HEAD") != head:  # a record was made meanwhile
            raise _Raced
        _nothing_unkept(book)
        _refuse_in_the_way(book, ours, new)
        try:
            _run(book, "merge", "--ff-only", "--quiet", "--no-stat", "--no-verify-signatures", commit)
        except git.NotKept:
            if _said(book, "rev-parse", "HEAD") == head:
                _take_back(book, ours, new)
            raise


def _take_back(book: Path, ours: Tree, new: Tree) -> None:
    """After a checkout that stopped half-way: the files that it wrote, and only those, as they were before."""
    paths = _changed(ours, new)
    contents = _blobs(book, [tree[path].blob for path in paths for tree in (ours, new) if path in tree])
    for path in paths:
        there = book / path
        wrote = contents[new[path].blob] if path in new else None
        found = there.read_bytes() if there.is_file() else None
        if found != wrote:
            continue
        if path in ours:
            there.parent.mkdir(parents=True, exist_ok=True)
            there.write_bytes(contents[ours[path].blob])
        elif found is not None:
            there.unlink()


# --- what was entered ------------------------------------------------------------------------------------------------


def _entered(book: Path, old: Tree, new: Tree) -> tuple[Entered, ...]:
    """What came between two trees, by build: its records in words, and by whom."""
    paths = _changed(old, new)
    contents = _blobs(
        book, [tree[path].blob for path in paths for tree in (old, new) if path in tree and kind_of(path)]
    )
    by_build: dict[str, list[tuple[str, list[str], list[str]]]] = defaultdict(list)
    for path in paths:
        records: list[str] = []
        people: list[str] = []
        if kind_of(path):
            before, now = (contents.get(tree[path].blob) if path in tree else None for tree in (old, new))
            for words, by in _new_records(before, now):
                records.append(words)
                people += [by] if by else []
        by_build[_build_of(path)].append((path, records, people))
    return tuple(
        Entered(
            build,
            tuple(words for _, records, _ in each for words in records),
            tuple(sorted({by for _, _, people in each for by in people})),
            tuple(path for path, _, _ in each),
        )
        for build, each in sorted(by_build.items())
    )


def _build_of(path: str) -> str:
    parts = PurePosixPath(path).parts
    return "/".join(parts[1:3]) if len(parts) > 3 else parts[1] if len(parts) == 3 else "the shop"


def _new_records(old: bytes | None, new: bytes | None) -> Iterator[tuple[str, str | None]]:
    """The records of `new` that `old` has not, or has otherwise: in words, and by whom."""
    before = {(name, _text(record, "id")): meaning(record) for name, record in _records(old)}
    for name, record in _records(new):
        id_ = _text(record, "id")
        known = before.get((name, id_))
        if known != meaning(record):
            words = _title(record)
            yield f"{id_} {words}".strip() + (", changed" if known is not None else ""), _by(record)


def _records(content: bytes | None) -> Iterator[tuple[str, MapNode]]:
    text = decode(content, "")[0] if content is not None else None
    root = parse(text, "")[0] if text is not None else None
    for name, node in root.items() if root is not None else ():
        for record in node.items if isinstance(node, ListNode) else ():
            if isinstance(record, MapNode) and "id" in record.values:
                yield name, record


def _title(record: MapNode) -> str:
    what = _text(record, "what") or _text(record, "stage")
    if what:
        kind = WEIGHING_KINDS.get(what) or MEASUREMENT_KINDS.get(what)
        return kind.title if kind else what
    own = {"id", "taken", "by", "with", "note", "void", "decided", "because"}
    return next((name for name in record.values if name not in own), "")


def _by(record: MapNode) -> str | None:
    decided = record.get("decided")
    return _text(record, "by") or (_text(decided, "by") if isinstance(decided, MapNode) else None)


def _text(record: MapNode, name: str) -> str | None:
    node = record.get(name)
    return node.text if isinstance(node, TextNode) and not node.is_null else None


def place_of(book: Path, question: Question) -> Where:
    """Where the record that a question is about stands; the file's top for all else."""
    path = book / question.file
    try:
        content = path.read_bytes()
    except OSError:
        return top_of(path)
    named = question.where.split(" ")[0]
    for _, record in _records(content):
        if _text(record, "id") == named:
            return Where(shown(path), record.where.line, record.where.column)
    return top_of(path)


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _message(done: Synced) -> str:
    """The merge in words for a person, and its trailers for a program."""
    people = sorted({by for each in done.taken for by in each.by})
    added = _count(sum(len(each.records) for each in done.taken), "record")
    asked = f", {_count(len(done.questions), 'question')}" if done.questions else ""
    where = done.remote if re.fullmatch(r"[\w.-]+", done.remote) else "the other bench"
    lines = [f"Merge with {where}: {added} added{' by ' + _listed(people) if people else ''}{asked}", ""]
    lines += [f"{each.file}: {each.where}: {each.what}" for each in done.questions]
    lines += [""] if done.questions else []
    builds = sorted({each.build for each in (*done.taken, *done.sent) if "/" in each.build})
    lines += [f"Build: {build}" for build in builds]
    lines += [f"Renumbered: {each.old} is {each.new} in {each.file}" for each in done.renumbered]
    lines += [f"Questions: {len(done.questions)}"] if done.questions else []
    return "\n".join(lines).rstrip("\n") + "\n"


def _listed(names: Sequence[str]) -> str:
    return " and ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else "".join(names)
