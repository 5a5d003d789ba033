"""What of a book is as it was when it was checked last: told by git from the ids of contents, without reading them.

What was found is remembered in the user's cache folder, by a digest of all that it follows from: the files, and our own
code and schemas. What git cannot tell for certain has no digest, and is looked at again. The cache may be deleted at
any time.
"""

import json
import os
import re
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from functools import cache, cached_property
from hashlib import sha256
from pathlib import Path

from buildbook.book import git
from buildbook.book.places import TAKING, UNFINISHED, cache_folder, data_folder, shown
from buildbook.records.finding import Finding, Where

WHOLE = ""  # the subject that is the whole book

Findings = Sequence[Finding]


class Standing:
    """What git knows of the book's files without reading them: the ids of their contents, and which differ."""

    def __init__(self, book: Path, there: set[str], entries: bytes, status: bytes) -> None:
        self.book = book
        self._there = there
        self.entries = entries
        self.changes = git.read_status(book, status)
        # with those that are ignored: they are on disk, and a check would see them
        self.touched = [os.fsdecode(each[3:]) for each in status.split(b"\0") if each]
        self._fresh: dict[str, tuple[str, Findings]] = {}

    @property
    def unfinished(self) -> set[Path]:
        """The folders in which a killed command left something that never got its name."""
        places = (Path(name) for name in self.touched if UNFINISHED in name)
        return {
            self.book / each.parent
            for path in places
            for each in (path, *path.parents)
            if each.name.startswith(".") and each.name.endswith(UNFINISHED)
        }

    @property
    def under_way(self) -> set[Path]:
        """The folders in which a session at the bench has not become a record yet."""
        return {(self.book / name).parent for name in self.touched if name.endswith(TAKING)}

    @cached_property
    def _lines(self) -> dict[str, list[bytes]]:
        """The index by folder: `""` for the shop, `heron-07` and `heron-07/2026-10-rebuild`."""
        found: dict[str, list[bytes]] = {}
        for entry in self.entries.split(b"\0"):
            parts = os.fsdecode(entry.partition(b"\t")[2]).split("/")[1:-1]
            found.setdefault("/".join(parts[:2]), []).append(entry)
        return found

    @cached_property
    def _listed(self) -> set[str]:
        """The engines and builds that git has files of."""
        return {os.fsdecode(name) for name in set(_folder_of_entry.findall(self.entries))}

    @property
    def builds(self) -> list[str]:
        return sorted(name for name in self._there if "/" in name)

    @cached_property
    def _moved(self) -> set[str]:
        """The folders in which something is not as the index has it."""
        return {"/".join(name.split("/")[1:-1][:2]) for name in self.touched}

    @cached_property
    def _whole(self) -> str:
        there = "\0".join(sorted(self._there)).encode(errors="surrogateescape")
        return sha256(b"\0\0".join([_our_code(), there, self.entries])).hexdigest()

    def digest(self, subject: str) -> str | None:
        """A digest of all that the findings of a build, of an engine or of the whole book follow from.

        None where git cannot tell: where something is not as git has it, or a folder is there that git cannot see.
        """
        if subject == WHOLE:
            return None if self.touched or not _plain(self.entries) or self._there != self._listed else self._whole
        places = {"", subject.partition("/")[0], subject}
        lines = [line for place in sorted(places) for line in self._lines.get(place, ())]
        if places & self._moved or not _plain(b"\0".join(lines)):
            return None
        return sha256(b"\0".join([_our_code(), subject.encode(), *lines])).hexdigest()

    def digest_of_all(self, engine: str) -> str | None:
        """A digest of all that an engine and its builds say; None where git cannot tell, as in `digest`."""
        there, listed = ({name for name in of if name.startswith(f"{engine}/")} for of in (self._there, self._listed))
        digests = [self.digest(subject) for subject in (engine, *sorted(listed))]
        if there != listed or None in digests:
            return None
        return sha256("\n".join(filter(None, digests)).encode()).hexdigest()

    def recall(self, what: str) -> dict[str, object]:
        """What was kept under this name beside the findings; nothing where that is spoiled."""
        kept = _read(self._cache / f"{what}.json")
        return kept if isinstance(kept, dict) else {}

    def keep(self, what: str, content: Mapping[str, object]) -> None:
        _write(self._cache / f"{what}.json", content)

    def found_before(self, subject: str) -> list[Finding] | None:
        """What was found in a subject when it was checked last; None where it is not certain to be as it was then."""
        if subject == WHOLE:  # what git can tell of these very entries was found out when they got their digest
            known, digest = self._known_whole, None if self.touched else self._whole
        else:
            known, digest = self._known_parts.get(subject), self.digest(subject)
        if digest is None or not isinstance(known, list) or known[:1] != [digest]:
            return None
        with suppress(TypeError, ValueError, IndexError):  # a spoiled cache
            return [_from_cache(self.book, each) for each in known[1]]
        return None

    def remember(self, subject: str, found: Findings) -> None:
        digest = self.digest(subject)
        if digest is not None:
            self._fresh[subject] = digest, found

    def save(self) -> None:
        """Keep what was found; a cache that cannot be written is no reason to stop anybody."""
        parts = {subject: each for subject, each in self._fresh.items() if subject != WHOLE}
        if parts:
            fresh = {subject: [digest, self._for_cache(found)] for subject, (digest, found) in parts.items()}
            self.keep("parts", self._known_parts | fresh)
        if WHOLE in self._fresh:
            digest, found = self._fresh[WHOLE]
            _write(self._cache / "whole.json", [digest, self._for_cache(found)])
        self._fresh.clear()

    @cached_property
    def _cache(self) -> Path:
        return cache_folder() / "checked" / sha256(os.fsencode(self.book.resolve())).hexdigest()[:32]

    @cached_property
    def _known_whole(self) -> object:
        return _read(self._cache / "whole.json")

    @cached_property
    def _known_parts(self) -> dict[str, object]:
        return self.recall("parts")

    def _for_cache(self, found: Findings) -> list[object]:
        return [
            [each.severity, each.rule, os.path.relpath(where.file, self.book), where.line, where.column, *words]
            for each in found
            for where, words in [(each.where, (each.what, each.why, each.remedy))]
        ]


def _from_cache(book: Path, kept: Sequence[str]) -> Finding:
    severity, rule, file, line, column, what, why, remedy = kept
    where = Where(shown(book / file), int(line), int(column))  # as seen from where we are now
    return Finding(severity, rule, where, what, why, remedy)  # type: ignore[arg-type]


def _read(path: Path) -> object:
    try:
        return json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError):
        return None


def _write(path: Path, content: object) -> None:
    beside = path.with_name(f"{path.name}.{os.getpid()}")
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        beside.write_text(json.dumps(content), encoding="ascii")
        beside.replace(path)


_asked: dict[Path, Callable[[], Standing | None]] = {}


def ask_ahead(book: Path) -> None:
    """Ask git now what `ask` will be called for."""
    _asked[book] = ask(book)


def ask(book: Path) -> Callable[[], Standing | None]:
    """Ask git how the book's files stand, and go on; what is returned waits for it. None where git cannot be asked."""
    if (asked := _asked.pop(book, None)) is not None:
        return asked
    under = ("--", "shop.yaml", "engines")
    answers = git.ask(book, ("ls-files", "-s", "-v", "-z", *under), (*git.STATUS, "--ignored", *under))

    def standing() -> Standing | None:
        _our_code()  # while git looks
        there = _folders(book)
        said = answers()
        return Standing(book, there, *said) if said is not None else None

    return standing


_folder_of_entry = re.compile(rb"\tengines/([^/\0]+(?:/[^/\0]+)?)/")
_plain_entry = re.compile(rb"H 100(?:644|755) [0-9a-f]+ 0\t")


def _plain(entries: bytes) -> bool:
    """Whether all these are plain files that git watches: no links, no conflicts, none to be taken as unchanged."""
    return len(_plain_entry.findall(entries)) == entries.count(b"\t")


def _folders(book: Path) -> set[str]:
    """The engines, as far as files lie in them, and the builds: all folders that there are, even empty ones."""
    found = set()
    with os.scandir(book / "engines") as engines:
        for engine in engines:
            if engine.is_dir() and not engine.name.startswith("."):
                found.add(engine.name)
                with os.scandir(engine.path) as builds:
                    found |= {f"{engine.name}/{b.name}" for b in builds if b.is_dir() and not b.name.startswith(".")}
    return found


@cache
def _our_code() -> bytes:
    """Changes with every version of ours: what was found with another is looked at again."""
    package = Path(__file__).resolve().parent.parent
    digest = sha256()
    for top in (package, data_folder("schemas")):
        for folder, folders, files in os.walk(top):
            folders.sort()
            for name in sorted(files):
                if name.endswith((".py", ".json")):
                    entry = os.stat(os.path.join(folder, name))
                    digest.update(f"{folder}/{name} {entry.st_size} {entry.st_mtime_ns}\n".encode())
    return digest.digest()
