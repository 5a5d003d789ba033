"""Carries a book between benches through git: fetch, merge by records, push.

Git's plumbing makes the merge beside the work tree, and the push goes first: only what the other side has accepted
is checked out, so that at any failure the work tree and the branch are as they were.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Literal, NamedTuple

from buildbook.book import git, kept
from buildbook.book.places import Misuse, folder_of
from buildbook.book.reading import Reader
from buildbook.book.sync.checkout import bring_to, refuse_in_the_way
from buildbook.book.sync.entered import Entered, entered
from buildbook.book.sync.renumbering import Renumbered
from buildbook.book.sync.tree_merging import Saved, merge_trees
from buildbook.book.sync.trees import Tree, answer, changed, kind_of, run, tree_at, write_tree
from buildbook.book.sync.undecided import Mark, Question, in_book, two_seals
from buildbook.book.writing import lock
from buildbook.records.finding import Finding

TRIES = 5

_FOLDERS = {"engines", "schemas"}
_LEDGER = {*_FOLDERS, "shop.yaml"}
_HIDDEN = {".gitattributes", ".gitignore"}

_BRANCHES = "refs/heads/"
_SEALS = "refs/tags/sealed/"


class Synced(NamedTuple):
    """What a sync came to. `questions` is all that is undecided in the book, whichever bench met it; `unreadable` what
    is wrong with files that came."""

    outcome: Literal["nothing", "sent", "received", "merged"]
    remote: str
    branch: str
    commit: str
    taken: tuple[Entered, ...] = ()
    sent: tuple[Entered, ...] = ()
    questions: tuple[Question, ...] = ()
    renumbered: tuple[Renumbered, ...] = ()
    saved: tuple[Saved, ...] = ()
    unreadable: tuple[Finding, ...] = ()
    seals_taken: tuple[str, ...] = ()
    seals_sent: tuple[str, ...] = ()
    seals_renamed: Mapping[str, str] = {}  # those of sign-offs that were renumbered: the name before → the one now
    tries: int = 1


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
            done = _once(book, remote, branch)
        except _Raced:
            continue
        came = [path for each in done.taken for path in each.files]
        return done._replace(
            questions=(*done.questions, *in_book(book)), unreadable=tuple(_unreadable(book, came)), tries=attempt
        )
    raise Misuse(f"other benches were quicker {TRIES} times running", "nothing was changed here; sync again")


# --- whether it may begin --------------------------------------------------------------------------------------------


def _ready(book: Path) -> str:
    """The branch, where the book stands so that a sync can begin. Raises Misuse."""
    if (amiss := git.situation(book)) is not None:
        raise Misuse(amiss.what, amiss.remedy)
    _nothing_unkept(book)
    return run(book, "symbolic-ref", "--short", "HEAD").decode().strip()


def _nothing_unkept(book: Path) -> None:
    said = git.run(book, *git.STATUS).decode(errors="replace").split("\0")
    lines = [(line[:2], line[3:]) for line in said if line]
    unkept = [path for how, path in lines if kind_of(path) or how != "??"]
    if unkept:
        more = f" and {len(unkept) - 1} more" if len(unkept) > 1 else ""
        keeps = any(kept.kind_of(book, book / path) for path in unkept)
        remedy = "run 'buildbook keep' first" if keeps else f"'git commit {unkept[0]}' first, or 'git restore' it"
        raise Misuse(f"{unkept[0]}{more} has changes that are not in git yet", remedy)


def _unreadable(book: Path, paths: Iterable[str]) -> list[Finding]:
    """What keeps these files of the ledger from being read, as they are on disk."""
    reader = Reader(book)
    found: list[Finding] = []
    for path in paths:
        kind = kind_of(path)
        if kind is not None and (book / path).exists():
            found += reader.file(kind, book / path, needed=True)[1]
    return [each for each in found if each.severity == "error"]


def _refuse_unreadable(book: Path, paths: Iterable[str]) -> None:
    """What cannot be read is not sent to other benches. Raises Misuse."""
    if found := _unreadable(book, paths):
        first = found[0]
        raise Misuse(
            f"{first.where}: {first.what}", f"{first.remedy}, then 'buildbook keep' and sync again; nothing was sent"
        )


def _remote(book: Path, given: str | None, branch: str) -> _Remote:
    """The remote to use: as named, or the branch's own, or the only one there is. Raises Misuse."""
    names = (answer(book, "remote") or "").split()
    if given is not None and given not in names and not re.search(r"[/:\\]", given):
        known = f"it has {', '.join(names)}" if names else "it has none yet: git remote add NAME URL"
        raise Misuse(f"there is no remote named '{given[:60]}' in this book", known)
    if given is not None and given not in names:
        return _Remote(None, _address(given), _address(given))
    name = given or answer(book, "config", f"branch.{branch}.remote")
    if name not in names:
        name = names[0] if len(names) == 1 else "origin" if "origin" in names else None
    if name is None and names:
        raise Misuse("which remote is meant is not said", f"add --remote NAME ({', '.join(names)})")
    if name is None:
        remedy = "add it once: 'git remote add origin URL', or name it with --remote URL"
        raise Misuse("this book has no remote to bring together with", remedy)
    fetch, push = answer(book, "remote", "get-url", name), answer(book, "remote", "get-url", "--push", name)
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
    head = run(book, "rev-parse", "HEAD").decode().strip()
    there, seals = _there(book, remote, branch), _seals(book)
    tip = there.tip
    differing = [name for name, id_ in there.seals.items() if seals.get(name, id_) != id_]
    done = Synced(
        "nothing",
        remote.shown,
        branch,
        head,
        seals_taken=tuple(name for name in there.seals if name not in seals and tip is not None),
        seals_sent=tuple(name for name in seals if name not in there.seals),
    )
    shallow = answer(book, "rev-parse", "--is-shallow-repository") == "true"
    if tip is not None and (tip != head or done.seals_taken or differing or shallow):
        _fetch(book, remote, branch, [*done.seals_taken, *differing], ("--unshallow",) if shallow else ())
        if answer(book, "cat-file", "-e", f"{tip}^{{commit}}") is None:  # it moved on meanwhile
            raise _Raced
    done = _bring_together(book, remote, there, done)
    for name in done.seals_taken:
        run(book, "update-ref", name, there.seals[name], "")
    try:
        renamed = _rename_seals(book, remote, branch, there, differing) if differing else {}
    except (git.NotKept, _Raced):  # all else is done: two seals under one name are a question until the next sync
        renamed = {}
    open_ = [name for name in differing if name not in renamed and not _sealed_anew(name, seals)]
    questions = tuple(two_seals(name.removeprefix("refs/tags/")) for name in open_)
    outcome = "sent" if renamed and done.outcome == "nothing" else done.outcome
    return done._replace(outcome=outcome, questions=questions, seals_renamed=renamed)


def _bring_together(book: Path, remote: _Remote, there: _There, done: Synced) -> Synced:
    """Send, receive, or merge and send; the seals of this bench go with it."""
    head, tip, branch = done.commit, there.tip, done.branch
    if tip == head:
        if done.seals_sent:
            _push(book, remote, branch, head, there, done.seals_sent)
        return done._replace(outcome="sent" if done.seals_sent else "received" if done.seals_taken else "nothing")
    ours = tree_at(book, head)
    if tip is None or _is_ancestor(book, tip, head):
        base = tree_at(book, tip) if tip is not None else {}
        _refuse_unreadable(book, changed(base, ours))
        _refuse_unwelcome(ours, base)
        _push(book, remote, branch, head, there, done.seals_sent)
        return done._replace(outcome="sent", sent=entered(book, base, ours))
    theirs = tree_at(book, tip)
    _refuse_received(theirs, ours)
    if _is_ancestor(book, head, tip):
        if done.seals_sent:
            _push(book, remote, branch, tip, there, done.seals_sent)
        _check_out(book, head, ours, tip, theirs)
        return done._replace(outcome="received", commit=tip, taken=entered(book, ours, theirs))
    common = answer(book, "merge-base", head, tip)
    if not common:
        raise Misuse(f"{remote.shown} holds another book: the two have no common beginning", "name the right remote")
    base = tree_at(book, common)
    _refuse_unreadable(book, changed(base, ours))
    _refuse_unwelcome(ours, base)
    made = merge_trees(book, base, ours, theirs, tip)
    done = done._replace(
        outcome="merged",
        taken=entered(book, base, theirs),
        sent=entered(book, base, ours),
        renumbered=tuple(made.renumbered),
        saved=tuple(made.saved),
    )
    made_of = (write_tree(book, made.tree), "-p", head, "-p", tip, "-F", "-")
    commit = run(book, *_identity(book), "commit-tree", *made_of, stdin=_message(done, made.marks).encode())
    done = done._replace(commit=commit.decode().strip())
    refuse_in_the_way(book, ours, made.tree)
    _push(book, remote, branch, done.commit, there, done.seals_sent)
    _check_out(book, head, ours, done.commit, made.tree)
    return done


def _there(book: Path, remote: _Remote, branch: str) -> _There:
    """What the remote has. Raises Misuse where it cannot be reached, or has other branches and not this one."""
    try:
        said = run(book, "ls-remote", "--", remote.fetch, f"{_BRANCHES}*", f"{_SEALS}*").decode(errors="replace")
    except git.NotKept as reason:
        if reason.situation is not None:
            raise
        raise _out_of_reach(book, remote, str(reason)) from None
    refs = {name: id_ for id_, _, name in (line.partition("\t") for line in said.splitlines())}
    seals = {name: id_ for name, id_ in refs.items() if name.startswith(_SEALS) and not name.endswith("^{}")}
    others = [name.removeprefix(_BRANCHES) for name in refs if name.startswith(_BRANCHES)]
    if others and branch not in others:
        what = f"this bench is on the branch '{branch}', and {remote.shown} has {_listed(others[:4])} only"
        first = "main" if "main" in others else others[0]
        is_here = answer(book, "rev-parse", "--verify", "--quiet", _BRANCHES + first) is not None
        remedy = f"'git switch {first}', then 'git merge {branch}'" if is_here else f"'git branch -m {first}'"
        raise Misuse(f"{what}: no other bench would see what is sent", f"{remedy}, and sync again")
    return _There(refs.get(_BRANCHES + branch), seals)


def _out_of_reach(book: Path, remote: _Remote, reason: str) -> Misuse:
    """Why a remote does not answer, in words for a person: a folder is looked at, of a machine git's own words tell."""
    address = remote.fetch
    if "://" in address or re.match(r"[^/]+:", address):
        said = [line.split(": ", 1)[-1] for line in reason.splitlines() if line.strip()]
        remedy = "nothing was changed here; sync again once it can"
        return Misuse(f"{remote.shown} cannot be reached: {said[0].removeprefix('fatal: ')}", remedy)
    folder = book / address
    if not folder.exists():
        what = f"{remote.shown} is not there: there is no folder {address}"
        return Misuse(what, "plug in or mount what it lies on, and sync again; nothing was changed here")
    make = f"'git init --bare --initial-branch=main {address}' makes one, once"
    return Misuse(f"{address} is there, and holds no git repository that can be read", make)


def _seals(book: Path) -> dict[str, str]:
    """The tags that seal builds here: name and id."""
    said = run(book, "for-each-ref", "--format=%(refname) %(objectname)", _SEALS).decode(errors="replace")
    return dict(line.split(" ") for line in said.splitlines())


def _rename_seals(book: Path, remote: _Remote, branch: str, there: _There, names: Iterable[str]) -> dict[str, str]:
    """Of the seals that have these names here, and are others on the remote: those whose sign-off a merge gave another
    id go by that id from now on, at every bench. The name before → the one now."""
    from buildbook.book.history import History

    history, seals = History(book), _seals(book)
    found: dict[str, str] = {}
    for old in names:
        build, _, entered_as = old.removeprefix(_SEALS).rpartition("/")
        sealed = answer(book, "rev-parse", f"{old}^{{commit}}")
        for id_, origin in history.origins(folder_of(book, build) / "build.yaml", "sign_offs").items():
            new = f"{_SEALS}{build}/{id_}"
            free = {seals.get(new), there.seals.get(new)} <= {None, seals[old]}
            if origin == (sealed, entered_as) and id_ != entered_as and free:
                found[old] = new
    if found:
        _push(book, remote, branch, history.head, there, [f"{seals[old]}:{new}" for old, new in found.items()])
    for old, new in found.items():
        moves = f"update {new} {seals[old]}\nupdate {old} {there.seals[old]} {seals[old]}\n"
        run(book, "update-ref", "--stdin", stdin=moves.encode())
    return found


def _sealed_anew(name: str, seals: Iterable[str]) -> bool:
    """Whether the build of this seal has a later one: for that it was reopened, and what was in question is decided."""
    build, _, sign_off = name.rpartition("/")
    later = [each.rpartition("/") for each in seals]
    return any(of == build and _number(id_) > _number(sign_off) for of, _, id_ in later)


def _number(id_: str) -> int:
    digits = re.search(r"\d+$", id_)
    return int(digits[0]) if digits else 0


def _fetch(book: Path, remote: _Remote, branch: str, seals: Sequence[str], depth: Sequence[str]) -> None:
    """Bring what is there into git's store; the seals themselves are set when all has gone well. The whole history
    comes, also into a clone that was made with its newest part only: who wrote what could not be told there."""
    tracking = f":refs/remotes/{remote.name}/{branch}" if remote.name else ""
    programs = ("--upload-pack=git-upload-pack", "--no-tags", "--no-recurse-submodules", "--quiet")
    run(book, "fetch", *programs, *depth, "--", remote.fetch, f"+refs/heads/{branch}{tracking}", *seals)


def _push(book: Path, remote: _Remote, branch: str, commit: str, there: _There, seals: Sequence[str]) -> None:
    """Send a commit and seals. Raises _Raced where the other side moved on meanwhile, NotKept where it refuses."""
    programs = ("--receive-pack=git-receive-pack", "--no-recurse-submodules", "--quiet")
    try:
        run(book, "push", *programs, "--", remote.push, f"{commit}:refs/heads/{branch}", *seals)
    except git.NotKept:
        if _there(book, remote, branch) != there:
            raise _Raced from None
        raise
    if remote.name:
        answer(book, "update-ref", f"refs/remotes/{remote.name}/{branch}", commit)


def _is_ancestor(book: Path, older: str, newer: str) -> bool:
    return answer(book, "merge-base", "--is-ancestor", older, newer) is not None


def _identity(book: Path) -> tuple[str, ...]:
    """Who merges: whoever git knows, or the program itself."""
    if answer(book, "var", "GIT_COMMITTER_IDENT") is not None:
        return ()
    return "-c", "user.name=buildbook", "-c", "user.email=buildbook@localhost"


def _refuse_received(new: Tree, here: Tree) -> None:
    """Nothing is checked out that could lead out of the book or be run. Raises Misuse."""
    if amiss := _out_of_place(new, here):
        path, what = amiss
        remedy = "nothing was checked out; ask whoever keeps the other bench to take it out"
        raise Misuse(f"{path} at the other bench {what}", remedy)


def _refuse_unwelcome(new: Tree, there: Tree) -> None:
    """What other benches would refuse is not sent to them. Raises Misuse."""
    if amiss := _out_of_place(new, there):
        path, what = amiss
        out = f"take it out of git with 'git rm --cached {path}' and 'git commit', and sync again; nothing was sent"
        raise Misuse(f"{path} {what}, and no other bench would take it", out)


def _out_of_place(new: Tree, old: Tree) -> tuple[str, str] | None:
    """The first file that `old` has not, or has otherwise, and that has no place in a book; and what it is."""
    for path, entry in new.items():
        if old.get(path) == entry:
            continue
        parts = path.split("/")
        if entry.mode not in {"100644", "100755"}:
            kinds = {"120000": "is a link, not a file", "160000": "is another repository, not a file"}
            return path, kinds.get(entry.mode, "is no plain file")
        if any(part.lower() in {"", ".", "..", ".git"} for part in parts) or not path.isprintable() or "\\" in path:
            return path, "is a path that leads out of the book"
        # other programs act on files of their own by themselves, most of them hidden ones
        hidden = any(part.startswith(".") for part in parts) and path not in _HIDDEN
        if hidden or path in _FOLDERS or (entry.mode == "100755" and parts[0] not in _LEDGER):
            return path, "has no place in a book"
    return None


def _check_out(book: Path, head: str, ours: Tree, commit: str, new: Tree) -> None:
    with lock(book):
        if answer(book, "rev-parse", "HEAD") != head:  # a record was made meanwhile
            raise _Raced
        _nothing_unkept(book)
        refuse_in_the_way(book, ours, new)
        bring_to(book, head, ours, commit, new)


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _message(done: Synced, marks: Sequence[tuple[str, Mark]]) -> str:
    """The merge in words for a person, and its trailers for a program."""
    people = sorted({by for each in done.taken for by in each.by})
    added = _count(sum(len(each.records) for each in done.taken), "record")
    asked = f", {_count(len(marks), 'question')}" if marks else ""
    where = done.remote if re.fullmatch(r"[\w.-]+", done.remote) else "the other bench"
    lines = [f"Merge with {where}: {added} added{' by ' + _listed(people) if people else ''}{asked}", ""]
    lines += [f"{path}: {mark.words}" for path, mark in marks]
    lines += [f"{each.path}: kept whole, since {each.why}" for each in done.saved]
    lines += [""] if marks or done.saved else []
    builds = sorted({each.build for each in (*done.taken, *done.sent) if "/" in each.build})
    lines += [f"Build: {build}" for build in builds]
    lines += [f"Renumbered: {each.old} is {each.new} in {each.file}" for each in done.renumbered]
    lines += [f"Questions: {len(marks)}"] if marks else []
    return "\n".join(lines).rstrip("\n") + "\n"


def _listed(names: Sequence[str]) -> str:
    return " and ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else "".join(names)
