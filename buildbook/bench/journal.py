"""A session of entering, safe on disk while it lasts: one line for each thing that happened, added and never changed.

The file lies in the build's folder under a hidden name. It is no file of the ledger: git is not told of it, and what it
holds counts for nothing until it is one record of the ledger; then it is removed. Each line is on the disk before its
reading counts as taken, so that nothing but the line that is being typed can be lost.
"""

import json
import os
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any, NamedTuple

from buildbook.bench.entry import READ_OFF, Event, Session, Slot, applied
from buildbook.book.places import TAKING, Misuse, shown
from buildbook.book.writing import sync_folder
from buildbook.records.finding import Finding, Where


class Head(NamedTuple):
    """What a session is of, as its first line says: the file of the ledger (`weighings`), the kind, who enters it, on
    which instrument, in which unit."""

    file: str
    what: str
    by: str
    with_: str
    unit: str
    begun: str
    temperature: str | None = None
    note: str | None = None


class Unfinished(NamedTuple):
    """A session that lies in a folder and has not become a record: how many numbers were read, of how many pieces."""

    path: Path
    head: Head
    read: int
    asked: int

    @property
    def command(self) -> str:
        """What goes on with it."""
        return f"{'weigh' if self.head.file == 'weighings' else 'measure'} {self.head.what}"


def path_of(folder: Path, what: str) -> Path:
    return folder / f".{what}{TAKING}"


def unfinished(folder: Path) -> list[Unfinished]:
    """The sessions that lie unfinished in a build's folder. One of which nothing can be read is left to the command
    that goes on with it."""
    found = []
    for path in sorted(folder.glob(f".*{TAKING}")):
        try:
            content = path.read_bytes()
            head, session, _, _ = _read(path, content)
        except (OSError, Misuse):
            continue
        if head is not None and session is not None and _holds_readings(session):
            of = {(slot.role, slot.place) for slot in session.asked if slot.role in READ_OFF}
            read = {(slot.role, slot.place) for slot in session.read if slot.role in READ_OFF}
            found.append(Unfinished(path, head, len(read), len(of)))
    return found


def notes(folder: Path) -> list[Finding]:
    """What `check` says of sessions that lie unfinished in a build's folder."""
    return [
        Finding(
            "note",
            "unfinished",
            Where(shown(each.path), 1, 1),
            f"a session of {each.head.what} by {each.head.by} is not finished: {each.read} of {each.asked} are read",
            "What was read is safe, and counts for nothing until the session is recorded.",
            f"'buildbook {each.command}' goes on with it",
        )
        for each in unfinished(folder)
    ]


class Journal:
    """The file of one session, held against other terminals. Raises Misuse where another one has it."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.fd = _held(path)
        self.head: Head | None = None
        self.session: Session | None = None
        self.last_read = ""  # when the last reading was taken
        try:
            content = b"".join(iter(lambda: os.read(self.fd, 1 << 16), b""))
            self.head, self.session, self.last_read, whole = _read(path, content)
        except BaseException:
            os.close(self.fd)
            raise
        if whole < len(content):  # a line that was being written when the plug was pulled
            os.ftruncate(self.fd, whole)
            os.fsync(self.fd)

    def begin(self, head: Head, session: Session) -> None:
        first = {
            **head._asdict(),
            "asked": session.asked,
            "read": list(session.read.items()),
            "offers": list(session.offers.items()),
        }
        self._append(first)
        sync_folder(self.path.parent)
        self.head, self.session, self.last_read = head, session, head.begun

    def start_anew(self) -> None:
        """Forget what was begun: for a session of which nothing was read."""
        os.ftruncate(self.fd, 0)
        self.head = self.session = None

    def add(self, event: Event, moment: str) -> None:
        """Write an event down; then it has happened. Raises OSError where the disk cannot take it: it has not."""
        assert self.session is not None
        self._append({"at": moment, **event._asdict()})
        self.session = applied(self.session, event)
        self.last_read = _later(self.last_read, event, moment)

    def _append(self, line: Mapping[str, object]) -> None:
        end = os.lseek(self.fd, 0, os.SEEK_END)
        content = json.dumps(line, ensure_ascii=True).encode() + b"\n"
        try:
            while content:
                content = content[os.write(self.fd, content) :]
            os.fsync(self.fd)
        except OSError:
            with suppress(OSError):
                os.ftruncate(self.fd, end)
            raise

    def holds_nothing(self) -> bool:
        """Whether nothing was read in it, for certain: by what is on the disk, whatever came between."""
        try:
            _, session, _, _ = _read(self.path, os.pread(self.fd, os.fstat(self.fd).st_size, 0))
        except (OSError, Misuse):
            return False
        return session is None or not _holds_readings(session)

    def remove(self) -> None:
        """Take it away: it is a record now, or nothing was read."""
        self.path.unlink(missing_ok=True)
        sync_folder(self.path.parent)
        self.close()

    def close(self) -> None:
        if self.fd >= 0:
            os.close(self.fd)
            self.fd = -1


def _holds_readings(session: Session) -> bool:
    return any(slot.role in READ_OFF for slot in session.read)


def _held(path: Path) -> int:
    """The file, open and held. Raises Misuse where another terminal holds it."""
    while True:
        fd = os.open(path, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW, 0o644)
        try:
            import fcntl

            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except ImportError:  # no such locks on this system
            return fd
        except BlockingIOError:
            os.close(fd)
            what = f"{path.name.removeprefix('.').removesuffix(TAKING)} is being entered in another terminal"
            raise Misuse(what, "go on there, or stop it there with Ctrl-C") from None
        with suppress(OSError):
            if os.stat(path).st_ino == os.fstat(fd).st_ino:
                return fd
        os.close(fd)  # it was removed while we waited for it


def _read(path: Path, content: bytes) -> tuple[Head | None, Session | None, str, int]:
    """What a journal says: its head, the session, when the last reading was taken, and how many bytes are whole lines.

    Raises Misuse where a whole line cannot be read: somebody or something changed it.
    """
    whole = content.rfind(b"\n") + 1
    head: Head | None = None
    session: Session | None = None
    last_read = ""
    for number, line in enumerate(content[:whole].splitlines(), start=1):
        try:
            said = json.loads(line)
            if head is None:
                head, session = _first(said)
                last_read = head.begun
            else:
                assert session is not None
                event = Event(said["do"], _slot(said["slot"]), said["text"])
                session = applied(session, event)
                last_read = _later(last_read, event, said["at"])
        except (ValueError, KeyError, TypeError):
            what = f"{shown(path)}:{number}: this line of an unfinished session cannot be read"
            raise Misuse(what, "mend it as the lines beside it are, or move the file away") from None
    return head, session, last_read, whole


def _first(said: dict[str, Any]) -> tuple[Head, Session]:
    head = Head(**{name: said[name] for name in Head._fields})
    asked = tuple(slot for slot in _slots(said["asked"]))
    read, offers = ({Slot(*slot): str(text) for slot, text in said[name]} for name in ("read", "offers"))
    return head, Session(asked, read, offers=offers)


def _slots(said: Iterable[Any]) -> Iterator[Slot]:
    return (Slot(*each) for each in said)


def _slot(said: Any) -> Slot | None:
    return Slot(*said) if said is not None else None


def _later(last: str, event: Event, moment: str) -> str:
    return moment if event.do == "put" and event.slot is not None and event.slot.role in READ_OFF else last
