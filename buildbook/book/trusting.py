"""Whether a book's own git settings and hooks count on this machine, and what in them could run or read elsewhere.

A book may come from anywhere, with settings in its `.git` that would run programs of another's choosing. They count
only where the book was begun or trusted on this machine.
"""

import os
import re
from pathlib import Path

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


def suspicious(book: Path) -> list[str]:
    """What in this repository could run programs or read elsewhere, where nobody here vouched for the book."""
    return [] if is_trusted(book) else _elsewhere(book) or _settings(book / ".git" / "config")


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
