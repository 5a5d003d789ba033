"""Keeps a book in git: through the git command itself.

A book may come from anywhere, with settings and hooks in its `.git` that would run programs of another's choosing.
They count only where the book was begun or trusted on this machine (`trust`). In any other, hooks do not run, and a
setting that is not known to be harmless stops every use of git, until somebody says that the book is theirs.
"""

import os
import re
import subprocess
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from time import monotonic, sleep, time
from typing import NamedTuple

NEEDED = (2, 28)  # --initial-branch; commit-graphs with changed paths are of 2.27, --pathspec-from-file of 2.25

_PATIENCE = 5.0  # seconds that another git may hold a lock before it counts as dead
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
    """A file of the book that differs from its last commit; `gone` where it is not there any more."""

    path: Path
    gone: bool


def begin(book: Path) -> None:
    """Make the folder a git repository, and trust one that was not there before. Raises NotKept."""
    new = not os.path.lexists(book / ".git")
    run(book, "init", "--quiet", "--initial-branch=main")
    if new:
        with suppress(OSError):  # then its hooks do not run until somebody says so
            trust(book)


def keep(book: Path, paths: Sequence[Path], message: str, author: str | None = None) -> list[str]:
    """Commit these files and no others, whatever else is changed or staged. Raises NotKept.

    `author` is `Name <email>`; where git knows no one of its own, it is also who commits. What should be said about it,
    if anything, is returned.
    """
    if (amiss := trouble(book)) is not None:
        raise NotKept(amiss)
    names = "\0".join(str(path.relative_to(book)) for path in paths).encode()
    listed = ("--pathspec-from-file=-", "--pathspec-file-nul")
    who = author or "buildbook <buildbook@localhost>"
    name, _, email = who.partition(" <")
    identity = [] if _knows_committer(book) else ["-c", f"user.name={name}", "-c", f"user.email={email.rstrip('>')}"]
    by = [f"--author={author}"] if author else []
    # --only leaves alone what else is staged; --literal-pathspecs takes a file name as it is
    commit = ["--literal-pathspecs", *identity, "commit", "--quiet", "--only", f"--message={message}", *by, *listed]
    try:
        try:
            _patiently(book, *commit, stdin=names)
        except NotKept as reason:
            if "did not match any file" not in str(reason):
                raise
            _patiently(
                book, "--literal-pathspecs", "add", "--force", *listed, stdin=names
            )  # git does not know them yet
            _patiently(book, *commit, stdin=names)
    except NotKept as reason:
        hooks = _hooks(book) if is_trusted(book) else []
        refusing = [hook for hook in hooks if hook in {"pre-commit", "commit-msg", "prepare-commit-msg"}]
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
            locked = _locked(book)
            if locked is not None and (monotonic() > until or time() - locked.stat().st_mtime > 60):
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


def _knows_committer(book: Path) -> bool:
    return look(book, ("var", "GIT_COMMITTER_IDENT")) is not None


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
        raise NotKept(_told_apart(book, reason) or f"git could not do it: {reason or 'it does not say why'}")
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
    found = []
    for entry in said.split(b"\0"):
        if entry and not entry.startswith(b"!!"):  # ignored, on purpose
            path = book / os.fsdecode(entry[3:])
            found.append(Changed(path, not os.path.lexists(path)))
    return found


_NO_GIT = Situation(
    "no-git", "git was not found on this machine", "install it to keep the book's history; all else works without it"
)


def situation(book: Path) -> Situation | None:
    """What keeps git from keeping this book, or is worth knowing; None where all is in order."""
    version = _version()
    if not version:
        return _NO_GIT
    if version < NEEDED:
        return _too_old(version)
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
        "go back with 'git switch main', then 'buildbook keep'",
    )


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


def _held(lock: Path) -> Situation:
    try:
        age = time() - lock.stat().st_mtime
    except OSError:
        age = 0.0
    since = f"for {age / 60:.0f} minutes" if age > 90 else f"for {max(age, 0):.0f} s"
    return Situation(
        "locked",
        f"git's lock {lock} has been there {since}: another git is at work, or one was killed",
        "where no other git is running, delete that file, then 'buildbook keep'",
    )


def _told_apart(book: Path, reason: str) -> Situation | None:
    if "dubious ownership" in reason or "unsafe repository" in reason:
        return Situation(
            "not-yours",
            "the book's folder belongs to another user of this machine ('dubious ownership'): git will not touch it",
            f"if you trust it: git config --global --add safe.directory '{book.resolve()}'",
        )
    version = _version()
    if version and version < NEEDED:
        return _too_old(version)
    if "not a git repository" in reason:
        return Situation(
            "damaged",
            "the book's .git is no git repository that can be read",
            "bring .git back from a copy of the book",
        )
    return None


def _too_old(version: tuple[int, ...]) -> Situation:
    has, needed = (".".join(map(str, each)) for each in (version, NEEDED))
    return Situation("too-old", f"git {has} is too old", f"install git {needed} or a newer one")


def _version() -> tuple[int, ...]:
    try:
        said = subprocess.run(["git", "version"], capture_output=True, text=True, check=False).stdout
    except OSError:
        return ()
    found = re.search(r"(\d+)\.(\d+)", said)
    return (int(found[1]), int(found[2])) if found else ()


# Settings of a repository that run nothing and point nowhere, whoever wrote them.
_HARMLESS = {
    "core": {
        *("repositoryformatversion", "filemode", "bare", "logallrefupdates", "ignorecase", "precomposeunicode"),
        *("symlinks", "autocrlf", "eol", "safecrlf", "quotepath", "longpaths", "protectntfs", "protecthfs"),
        *("hidedotfiles", "untrackedcache", "preloadindex", "commitgraph", "abbrev", "commentchar"),
    },
    "extensions": {"objectformat"},
    "user": {"name", "email"},
    "remote": {"url", "pushurl", "fetch", "push", "tagopt", "prune"},
    "branch": {"remote", "merge", "rebase", "description"},
    "init": {"defaultbranch"},
    "pull": {"rebase", "ff"},
    "push": {"default", "autosetupremote", "followtags"},
    "fetch": {"prune", "prunetags"},
    "merge": {"conflictstyle", "ff", "renames"},
    "rerere": {"enabled"},
    "gc": {"auto", "autodetach", "writecommitgraph"},
    "index": {"version"},
    "color": {"ui"},
    "commit": {"gpgsign"},
    "tag": {"gpgsign"},
}


def _distrusted(book: Path) -> Situation | None:
    """A repository that could run programs, or read elsewhere, by what is in it, and that nobody here vouched for."""
    if is_trusted(book):
        return None
    suspicious = _elsewhere(book) or _settings(book / ".git" / "config")
    if not suspicious:
        return None
    return Situation(
        "distrusted",
        f"the settings in this book's .git could run or read what is not the book's ({', '.join(suspicious[:4])}), "
        "and the book was not begun on this machine",
        "look at them; if they are yours, 'buildbook keep --trust' says so",
    )


def _elsewhere(book: Path) -> list[str]:
    """What of the repository lies outside the book."""
    folder = book / ".git"
    if folder.is_symlink() or not folder.is_dir():
        return [".git, which points elsewhere"]
    names = ["commondir", "config.worktree", "objects/info/alternates", "objects/info/http-alternates"]
    with os.scandir(folder) as entries:
        links = [f".git/{entry.name}, a link" for entry in entries if entry.is_symlink()]
    return links + [f".git/{name}" for name in names if (folder / name).exists()]


_section = re.compile(r'\[\s*([A-Za-z0-9.-]+)(?:\s+"(?:[^"\\]|\\.)*")?\s*\]\s*(.*)').fullmatch
_setting = re.compile(r"([A-Za-z][A-Za-z0-9-]*)\s*(?:=.*)?").fullmatch


def _settings(config: Path) -> list[str]:
    """The settings of a repository that are not known to be harmless, and lines that cannot be told for certain."""
    try:
        text = config.read_bytes().decode("utf-8-sig", errors="replace")
    except OSError:
        return []
    found = []
    section = ""
    for number, line in enumerate(text.replace("\r\n", "\n").split("\n"), 1):
        rest = line.strip()
        if rest.startswith("["):
            heading = _section(rest)
            section, rest = (heading[1].split(".")[0].lower(), heading[2]) if heading else ("", rest)
        if not rest or rest[0] in "#;":
            continue
        setting = _setting(rest)
        if setting is None or rest.endswith("\\") or not section:
            found.append(f"line {number} of .git/config")
        elif (name := setting[1].lower()) not in _HARMLESS.get(section, ()):
            found.append(f"{section}.{name}")
    return list(dict.fromkeys(found))


def _hooks(book: Path) -> list[str]:
    """The hooks that the repository has."""
    try:
        with os.scandir(_git_folder(book) / "hooks") as entries:
            return sorted(e.name for e in entries if not e.name.endswith(".sample") and os.access(e.path, os.X_OK))
    except OSError:
        return []


def _trusted_list() -> Path:
    home = os.environ.get("XDG_CONFIG_HOME") or os.path.join(os.path.expanduser("~"), ".config")
    return Path(home) / "buildbook" / "trusted"


def is_trusted(book: Path) -> bool:
    """Whether the book was begun or trusted on this machine, so that its own settings and hooks count."""
    try:
        return str(book.resolve()) in _trusted_list().read_text(encoding="utf-8").splitlines()
    except (OSError, ValueError):
        return False


def trust(book: Path) -> None:
    """Let this book's own git settings and hooks count, for this user of this machine. Raises OSError."""
    path, name = _trusted_list(), str(book.resolve())
    if is_trusted(book) or "\n" in name:
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a", encoding="utf-8") as file:
        file.write(f"{name}\n")
