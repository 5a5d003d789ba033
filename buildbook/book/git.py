"""Keeps a book in git: through the git command itself.

In a book that was neither begun nor trusted on this machine (`trusting`), hooks do not run, and a setting that is not
known to be harmless stops every use of git, until somebody says that the book is theirs.
"""

import os
import re
import subprocess
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from time import monotonic, sleep, time
from typing import NamedTuple

from buildbook.book.trusting import is_trusted, suspicious, trust

NEEDED = (2, 28)  # --initial-branch; commit-graphs with changed paths are of 2.27, --pathspec-from-file of 2.25

_PATIENCE = 5.0  # seconds that another git's lock is waited for
_STALE = 60.0  # seconds after which a lock may be a dead git's
_GRAPH_AGE = 86_400  # seconds after which the commit-graph is written again


class Situation(NamedTuple):
    """What git makes of a book that is not simply in order. `stops`: nothing can be kept while it lasts."""

    name: str
    what: str
    remedy: str
    stops: bool = True

    def __str__(self) -> str:
        return f"{self.what}; {self.remedy}"


class NotKept(Exception):
    """What was written is on disk, and is not in git's history: why, and the remedy."""

    def __init__(self, reason: Situation | str) -> None:
        super().__init__(str(reason))
        self.situation = reason if isinstance(reason, Situation) else None


class Changed(NamedTuple):
    """A file of the book that differs from its last commit; `gone` where it is not there any more, `dropped` where it
    is there and git was told to forget it (`git rm --cached`)."""

    path: Path
    gone: bool
    dropped: bool = False


def begin(book: Path) -> None:
    """Make the folder a git repository, and trust one that was not there before. Raises NotKept."""
    new = not os.path.lexists(book / ".git")
    run(book, "init", "--quiet", "--initial-branch=main")
    if new:
        with suppress(OSError):  # then its hooks do not run until somebody says so
            trust(book)


_LISTED = ("--pathspec-from-file=-", "--pathspec-file-nul")


def keep(book: Path, paths: Sequence[Path], message: str, author: str | None = None) -> list[str]:
    """Commit these files and no others, whatever else is changed or staged. Raises NotKept.

    `author` is `Name <email>`; where git knows no one of its own, it is also who commits. What should be said about it,
    if anything, is returned.
    """
    if (amiss := trouble(book)) is not None:
        raise NotKept(amiss)
    names = "\0".join(str(path.relative_to(book)) for path in paths).encode()
    who = author or "buildbook <buildbook@localhost>"
    name, _, email = who.partition(" <")
    committer = look(book, ("var", "GIT_COMMITTER_IDENT"))
    if committer == [b""] and (amiss := _program()) is not None:  # a stand-in keeps nothing, and does not say so
        raise NotKept(amiss)
    identity = [] if committer else ["-c", f"user.name={name}", "-c", f"user.email={email.rstrip('>')}"]
    by = [f"--author={author}"] if author else []
    # --only leaves alone what else is staged; --literal-pathspecs takes a file name as it is
    commit = ["--literal-pathspecs", *identity, "commit", "--quiet", "--only", f"--message={message}", *by, *_LISTED]
    try:
        try:
            _patiently(book, *commit, stdin=names)
        except NotKept as reason:
            if "did not match any file" not in str(reason):
                raise
            watch(book, paths)  # git does not know them yet
            _patiently(book, *commit, stdin=names)
    except NotKept as reason:
        hooks = _hooks(book) if is_trusted(book) else []
        refusing = [hook for hook in hooks if hook in _MAY_REFUSE and not _is_ours(book, hook)]
        if refusing and "hook" not in str(reason):
            raise NotKept(f"{reason}; this book's hook {' or '.join(refusing)} may have refused it") from None
        raise
    _index_history(book)
    if not is_trusted(book) and (unheard := _hooks(book)):
        return [f"the hooks of this book did not run ({', '.join(unheard)}): if it is yours, 'buildbook keep --trust'"]
    return []


def _patiently(book: Path, *arguments: str, stdin: bytes) -> None:
    """Run a git that changes something, and wait where another holds its lock. Raises NotKept."""
    until = monotonic() + _PATIENCE
    while True:
        try:
            run(book, *arguments, stdin=stdin)
            return
        except NotKept as reason:
            if ".lock': File exists" not in str(reason):
                raise
            if remove_dead_locks(book):
                continue
            locked = _locked(book)
            if locked is not None and (monotonic() > until or _age(locked) > _STALE):
                raise NotKept(_held(locked)) from None
            if monotonic() > until:
                raise
            sleep(0.05)


def _index_history(book: Path) -> None:
    """Once a day: which commit changed which files, so that the history of one build need not read all of it."""
    written = book / ".git" / "objects" / "info" / "commit-graphs" / "commit-graph-chain"
    try:
        if time() - written.stat().st_mtime < _GRAPH_AGE:
            return
        os.utime(written)  # git leaves the chain alone where nothing is new
    except OSError:
        pass
    with suppress(NotKept):  # it only makes looking back quicker
        run(book, "commit-graph", "write", "--reachable", "--changed-paths", "--split", "--no-progress")


def run(book: Path, *arguments: str, stdin: bytes = b"") -> bytes:
    """What git says to this in the book's folder. Raises NotKept with its own words where it cannot."""
    command, environment = _command(book, arguments)
    try:
        done = subprocess.run(command, cwd=book, env=environment, input=stdin, capture_output=True, check=False)
    except FileNotFoundError:
        raise NotKept(_NO_GIT) from None
    except OSError as error:
        raise NotKept(f"git could not be run: {error.strerror or error}") from None
    if done.returncode:
        reason = (done.stderr or done.stdout).decode(errors="replace").strip()
        raise NotKept(_told_apart(book, reason) or f"git could not do it: {reason or _no_reason()}")
    return done.stdout


# inside a hook these point at the repository whose hook it is, not at the book
_NOT_OURS = (
    *("GIT_DIR", "GIT_INDEX_FILE", "GIT_WORK_TREE", "GIT_PREFIX", "GIT_COMMON_DIR", "GIT_NAMESPACE"),
    *("GIT_OBJECT_DIRECTORY", "GIT_ALTERNATE_OBJECT_DIRECTORIES", "GIT_QUARANTINE_PATH"),
)


def _command(book: Path, arguments: Sequence[str]) -> tuple[list[str], dict[str, str]]:
    """How git is called so that nothing runs that is not to be trusted, and with what in its environment.

    Raises NotKept where the book has no repository of its own, or one that must not be touched.
    """
    begins = bool(arguments) and arguments[0] in {"init", "clone"}
    if not begins and (amiss := _no_repository(book) or _distrusted(book)) is not None:
        raise NotKept(amiss)
    # a repository further up is not the book's, and its settings are anybody's
    environment = {name: value for name, value in os.environ.items() if name not in _NOT_OURS}
    environment |= {"GIT_CEILING_DIRECTORIES": str(book.resolve().parent), "LC_ALL": "C", "LANGUAGE": "C"}
    options = [] if is_trusted(book) else ["-c", f"core.hooksPath={os.devnull}", "-c", "core.fsmonitor=false"]
    if arguments and arguments[0] in {"status", "diff"}:
        # a repository within the book has settings of its own, which nobody has looked at
        arguments = [arguments[0], "--ignore-submodules=all", *arguments[1:]]
    return ["git", *options, *arguments], environment


def look(book: Path, *commands: Sequence[str]) -> list[bytes] | None:
    """What several commands that only read say; None where any of them fails."""
    return ask(book, *commands)()


def ask(book: Path, *commands: Sequence[str]) -> Callable[[], list[bytes] | None]:
    """Start several commands that only read, all at once; what is returned waits for their answers, as `look` does."""
    running: list[subprocess.Popen[bytes]] = []
    failed = False
    try:
        for each in commands:
            command, environment = _command(book, each)
            running.append(
                subprocess.Popen(
                    command, cwd=book, env=environment, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                    stderr=subprocess.DEVNULL,
                )
            )  # fmt: skip
    except (NotKept, OSError):
        failed = True

    def answers() -> list[bytes] | None:
        said = [process.communicate()[0] for process in running]
        return None if failed or any(process.returncode for process in running) else said

    return answers


STATUS = ("status", "--porcelain=v1", "-z", "--no-renames", "--untracked-files=all")


def changed(book: Path, *under: Path) -> list[Changed]:
    """The files below these folders that differ from the last commit, staged or not. Raises NotKept."""
    names = [str(path.relative_to(book)) for path in under]
    return read_status(book, run(book, *STATUS, "--", *names))


def read_status(book: Path, said: bytes) -> list[Changed]:
    """What `git status` said in the words of STATUS."""
    how: dict[str, str] = {}
    for entry in said.split(b"\0"):
        if entry and not entry.startswith(b"!!"):  # ignored, on purpose
            name = os.fsdecode(entry[3:])
            how[name] = how.get(name, "") + entry[:2].decode()
    return [
        Changed(book / name, not os.path.lexists(book / name), {"D", "?"} <= set(letters))
        for name, letters in how.items()
    ]


def watch(book: Path, paths: Sequence[Path]) -> None:
    """Let git know these files again, which it was told to forget. Raises NotKept."""
    names = "\0".join(str(path.relative_to(book)) for path in paths).encode()
    _patiently(book, "--literal-pathspecs", "add", "--force", *_LISTED, stdin=names)


_NO_GIT = Situation(
    "no-git", "git was not found on this machine", "install it to keep the book's history; all else works without it"
)


def situation(book: Path) -> Situation | None:
    """What keeps git from keeping this book, or is worth knowing; None where all is in order."""
    if (amiss := _program()) is not None:
        return amiss
    if (amiss := trouble(book)) is not None:
        return amiss
    try:
        run(book, "rev-parse", "--git-dir")
    except NotKept as reason:
        return reason.situation or Situation("damaged", str(reason), "bring .git back from a copy of the book")
    if (locked := _locked(book)) is not None:
        return _held(locked)
    try:
        run(book, "rev-parse", "--verify", "--quiet", "HEAD^{commit}")
    except NotKept:
        if look(book, ("rev-parse", "--verify", "--quiet", "HEAD")):  # it is named, and cannot be read
            return _DAMAGED
        return Situation(
            "no-commit", "nothing of this book is in git's history yet", "'buildbook keep' puts it there", stops=False
        )
    return None


def passing_state(book: Path) -> Situation | None:
    """A state of the book that is about to go away, and with it what is written: a detached head, a merge half done."""
    return _unfinished(book) if _no_repository(book) is None else None


def trouble(book: Path) -> Situation | None:
    """What can be seen without asking git."""
    return _no_repository(book) or _distrusted(book) or _unfinished(book)


def _distrusted(book: Path) -> Situation | None:
    """A repository that could run programs, or read elsewhere, by what is in it, and that nobody here vouched for."""
    found = suspicious(book)
    if not found:
        return None
    return Situation(
        "distrusted",
        f"the settings in this book's .git could run or read what is not the book's ({', '.join(found[:4])}), "
        "and the book was not begun on this machine",
        "look at them; if they are yours, 'buildbook keep --trust' says so",
    )


def _no_repository(book: Path) -> Situation | None:
    if os.path.lexists(book / ".git"):
        return None
    above = next((folder for folder in book.absolute().parents if (folder / ".git").exists()), None)
    if above is not None:
        return Situation(
            "inside-another",
            f"this book lies inside another git repository ({above}), which is not its own",
            "move the book out of it, or run 'git init' in the book's folder to give it a history of its own",
        )
    return Situation(
        "no-repository", "this book is not a git repository", "'git init' in its folder makes it one, "
        "and 'buildbook keep' then keeps what is there",
    )  # fmt: skip


_UNFINISHED = {
    "MERGE_HEAD": ("merge", "'git merge --continue' or 'git merge --abort'"),
    "rebase-merge": ("rebase", "'git rebase --continue' or 'git rebase --abort'"),
    "rebase-apply": ("rebase", "'git rebase --continue' or 'git rebase --abort'"),
    "CHERRY_PICK_HEAD": ("cherry-pick", "'git cherry-pick --continue' or 'git cherry-pick --abort'"),
    "REVERT_HEAD": ("revert", "'git revert --continue' or 'git revert --abort'"),
    "BISECT_LOG": ("bisect", "'git bisect reset'"),
}


def _unfinished(book: Path) -> Situation | None:
    """Work in git that must be ended first, and a head on which a commit would be lost."""
    folder = _git_folder(book)
    for name, (what, remedy) in _UNFINISHED.items():
        if (folder / name).exists():
            return Situation(what, f"a git {what} is not finished in this book", f"end it with {remedy}, then go on")
    try:
        head = (folder / "HEAD").read_text(encoding="utf-8", errors="replace")
    except OSError:
        return None  # git itself says what is wrong
    if head.startswith("ref: "):
        return None
    return Situation(
        "detached",
        f"no branch is checked out (the book stands at commit {head[:10].strip()}): what is kept here would be lost",
        f"go back with 'git switch {_a_branch(folder)}', then 'buildbook keep'",
    )


def _a_branch(folder: Path) -> str:
    """The branch that a book is kept on, as far as that can be told: `main`, or the only one there is."""
    heads = folder / "refs" / "heads"
    names = {path.relative_to(heads).as_posix() for path in heads.rglob("*") if path.is_file()}
    with suppress(OSError):
        packed = (folder / "packed-refs").read_text(encoding="utf-8", errors="replace")
        names |= set(re.findall(r" refs/heads/(.+)", packed))
    return "main" if "main" in names else names.pop() if len(names) == 1 else "BRANCH"


def _git_folder(book: Path) -> Path:
    """Where git keeps the book's state: `.git`, or where that file says."""
    at = book / ".git"
    if at.is_file():
        return book / at.read_text(encoding="utf-8", errors="replace").removeprefix("gitdir:").strip()
    return at


def _locked(book: Path) -> Path | None:
    """A lock that a git at work holds, or a dead one left."""
    folder = _git_folder(book)
    branches = (folder / "refs" / "heads").rglob("*.lock")
    return next((path for path in (folder / "index.lock", folder / "HEAD.lock", *branches) if path.exists()), None)


def remove_dead_locks(book: Path) -> list[Path]:
    """Remove the locks that a killed git left behind, and say which.

    A lock counts as dead when it is older than a minute and no git is at work in the book on this machine, as far as
    the system tells (/proc; where there is none, no lock is removed). The minute is for a git on another machine.
    """
    folder = _git_folder(book)
    places = (folder.glob("*.lock"), (folder / "refs").rglob("*.lock"), folder.glob("objects/info/**/*.lock"))
    old = [path for place in places for path in place if _age(path) > _STALE]
    if not old or _at_work(book):
        return []
    for path in old:
        path.unlink(missing_ok=True)
    return old


def _at_work(book: Path) -> bool:
    """Whether some git may be at work in the book; yes, where that cannot be known."""
    here = book.resolve()
    try:
        for process in os.listdir("/proc"):
            with suppress(FileNotFoundError, ProcessLookupError):  # it has ended meanwhile
                is_git = process.isdecimal() and Path("/proc", process, "comm").read_bytes().startswith(b"git")
                if is_git and Path(os.readlink(f"/proc/{process}/cwd")).is_relative_to(here):
                    return True
    except OSError:
        return True
    return not os.path.exists("/proc/self/comm")


def _age(path: Path) -> float:
    """Seconds since a file was written; 0 where it is gone."""
    try:
        return max(time() - path.stat().st_mtime, 0.0)
    except OSError:
        return 0.0


def _held(lock: Path) -> Situation:
    age = _age(lock)
    since = f"for {age / 60:.0f} minutes" if age > 90 else f"for {age:.0f} s"
    return Situation(
        "locked",
        f"git's lock {lock} has been there {since}: another git is at work, or one was killed",
        "'buildbook keep' in a minute; if it still says so and no other git is running, delete that file first",
    )


# what a power cut leaves of git's store, in git's words
_is_damage = re.compile(
    r"(bad object|bad tree-ish|could not parse) HEAD|object file \S+ is empty|loose object .* is corrupt"
    r"|object [0-9a-f]+ cannot be read|unable to read tree"
).search
_DAMAGED = Situation(
    "damaged",
    "git's history of this book is damaged: some of it cannot be read any more",
    "bring .git back from a copy of the book, such as a new clone of its remote; the files themselves are as they were",
)


def _told_apart(book: Path, reason: str) -> Situation | None:
    if "dubious ownership" in reason or "unsafe repository" in reason:
        return Situation(
            "not-yours",
            "the book's folder belongs to another user of this machine ('dubious ownership'): git will not touch it",
            f"if you trust it: git config --global --add safe.directory '{book.resolve()}'",
        )
    if (amiss := _program()) is not None:
        return amiss
    if _is_damage(reason):
        return _DAMAGED
    if "not a git repository" in reason:
        return Situation(
            "damaged",
            "the book's .git is no git repository that can be read",
            "bring .git back from a copy of the book",
        )
    return None


def _program() -> Situation | None:
    """What is wrong with the git of this machine itself."""
    needed = f"git {_dotted(NEEDED)} or a newer one"
    try:
        done = subprocess.run(["git", "version"], capture_output=True, text=True, errors="replace", check=False)
    except FileNotFoundError:
        return _NO_GIT
    except OSError as error:
        return Situation("no-git", f"git could not be run: {error.strerror or error}", f"install {needed}")
    found = _versions(done.stdout)
    if found is None:
        said = (done.stdout + done.stderr).strip().partition("\n")[0][:100] or "nothing"
        what = f"the program named git on this machine is not git: asked for its version, it says '{said}'"
        return Situation("no-git", what, f"install {needed}")
    return Situation("too-old", f"git {_dotted(found)} is too old", f"install {needed}") if found < NEEDED else None


def _versions(said: str) -> tuple[int, ...] | None:
    found = re.search(r"git version (\d+)\.(\d+)", said)
    return (int(found[1]), int(found[2])) if found else None


def _dotted(version: tuple[int, ...]) -> str:
    return ".".join(map(str, version))


def _no_reason() -> str:
    """For a git that fails and says nothing: what can be said of it."""
    done = subprocess.run(["git", "version"], capture_output=True, text=True, errors="replace", check=False)
    return f"it does not say why (it is {done.stdout.strip() or 'of no known version'}; {_dotted(NEEDED)} is needed)"


_MAY_REFUSE = {"pre-commit", "commit-msg", "prepare-commit-msg"}


def _is_ours(book: Path, hook: str) -> bool:
    """Whether it is the hook that a new book is given, which lets our own commits pass."""
    with suppress(OSError):
        return b"Written by 'buildbook new book'" in (_git_folder(book) / "hooks" / hook).read_bytes()
    return False


def _hooks(book: Path) -> list[str]:
    """The hooks that the repository has."""
    try:
        with os.scandir(_git_folder(book) / "hooks") as entries:
            return sorted(e.name for e in entries if not e.name.endswith(".sample") and os.access(e.path, os.X_OK))
    except OSError:
        return []
