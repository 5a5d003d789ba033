"""A builder at a real terminal: types keys, waits for what is shown, makes the window smaller, presses Ctrl-C."""

import fcntl
import os
import pty
import re
import select
import signal
import struct
import subprocess
import sys
import termios
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from time import monotonic
from types import TracebackType
from typing import Self

CTRL_C, CTRL_D = b"\x03", b"\x04"
STYLE = re.compile(r"\x1b\[[0-9;]*m")


class Terminal:
    """A command on a pseudo-terminal. `sent` is all that was shown, `raw` with its styles; `typed` are the lines."""

    def __init__(
        self,
        arguments: Iterable[str],
        cwd: Path,
        columns: int = 80,
        lines: int = 24,
        env: Mapping[str, str] | None = None,
        program: Sequence[str] = ("-m", "buildbook"),
    ) -> None:
        self._terminal, ours = pty.openpty()
        self._size(columns, lines, ours)
        kept = {name: value for name, value in os.environ.items() if name not in {"COLUMNS", "LINES"}}
        self.process = subprocess.Popen(
            [sys.executable, *program, *arguments],
            cwd=cwd, env={**kept, **(env or {})}, stdin=ours, stdout=ours, stderr=ours, start_new_session=True,
            preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),
        )  # fmt: skip
        os.close(ours)
        self.raw = ""
        self.sent = ""
        self._seen = 0
        self.typed: list[str] = []

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait(timeout=30)
        os.close(self._terminal)

    @property
    def keys(self) -> int:
        """How many keys were pressed, Enter included."""
        return sum(len(text) + 1 for text in self.typed)

    def _size(self, columns: int, lines: int, descriptor: int) -> None:
        fcntl.ioctl(descriptor, termios.TIOCSWINSZ, struct.pack("HHHH", lines, columns, 0, 0))

    def resize(self, columns: int, lines: int = 24) -> None:
        self._size(columns, lines, self._terminal)
        self.process.send_signal(signal.SIGWINCH)

    def shown(self, text: str, seconds: float = 20) -> str:
        """Wait until this is shown, after what was waited for last; what was shown up to there is returned."""
        until = monotonic() + seconds
        while (at := self.sent.find(text, self._seen)) < 0:
            if not self._more(until - monotonic()):
                raise AssertionError(f"'{text}' was not shown; this was: {self.sent[self._seen :]}")
        said, self._seen = self.sent[self._seen : at + len(text)], at + len(text)
        return said

    def _more(self, seconds: float) -> bool:
        if seconds <= 0 or not select.select([self._terminal], [], [], seconds)[0]:
            return False
        try:
            came = os.read(self._terminal, 65536)
        except OSError:  # Linux says so when the other side is closed
            return False
        self.raw += came.decode(errors="replace")
        self.sent = STYLE.sub("", self.raw).replace("\r\n", "\n")
        return bool(came)

    def type(self, text: str, then: str = " › ") -> str:
        """Type a line and Enter, and wait for what follows; it is returned."""
        self.typed.append(text)
        os.write(self._terminal, f"{text}\n".encode())
        return self.shown(then)

    def press(self, key: bytes) -> None:
        os.write(self._terminal, key)

    def ends(self) -> int:
        """Wait for the end of the command; its exit code."""
        while self._more(30):
            pass
        return self.process.wait(timeout=30)
