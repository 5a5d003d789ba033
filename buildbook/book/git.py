"""Keeps a book in git: through the git command itself, by way of GitPython."""

import os
from collections.abc import Sequence
from pathlib import Path


class NotKept(Exception):
    """What was written is on disk, and is not in git's history: why, and the remedy."""


def begin(book: Path) -> None:
    """Make the folder a git repository. Raises NotKept."""
    _run(book, "init", "--quiet", "--initial-branch=main")


def keep(book: Path, paths: Sequence[Path], message: str, author: str | None = None) -> None:
    """Commit these files and no others, whatever else is changed or staged. Raises NotKept.

    `author` is `Name <email>`; where git knows no one of its own, it is also who commits.
    """
    if not (book / ".git").exists():
        raise NotKept("this book is not a git repository; 'git init' in its folder makes it one")
    names = [str(path.relative_to(book)) for path in paths]
    _run(book, "add", "--", *names)
    who = author or "buildbook <buildbook@localhost>"
    name, _, email = who.partition(" <")
    identity = [] if _knows_committer(book) else ["-c", f"user.name={name}", "-c", f"user.email={email.rstrip('>')}"]
    by = [f"--author={author}"] if author else []
    _run(book, *identity, "commit", "--quiet", "--only", f"--message={message}", *by, "--", *names)


def _knows_committer(book: Path) -> bool:
    try:
        _run(book, "var", "GIT_COMMITTER_IDENT")
    except NotKept:
        return False
    return True


def _run(book: Path, *arguments: str) -> str:
    os.environ.setdefault("GIT_PYTHON_REFRESH", "quiet")  # or the import itself fails where there is no git
    from git import Git, GitCommandError, GitCommandNotFound

    # inside a hook these point at the repository whose hook it is, not at the book
    for name in ("GIT_DIR", "GIT_INDEX_FILE", "GIT_WORK_TREE", "GIT_PREFIX"):
        os.environ.pop(name, None)
    try:
        return str(Git(book).execute(["git", *arguments]))
    except GitCommandNotFound:
        raise NotKept("git was not found on this machine; install it to keep the book's history") from None
    except GitCommandError as error:
        said = str(error.stderr or error.stdout).strip().removeprefix("stderr: ").strip("' \n")
        raise NotKept(f"git could not do it: {said or error}") from None
