"""How far long work has come: one line on standard error, where a person watches it, that is gone when all is done."""

import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from time import monotonic

_SOON = 0.5  # seconds: what is done sooner needs no line
_OFTEN = 0.1


@contextmanager
def progress(doing: str, total: int) -> Iterator[Callable[[], None]]:
    """Call what this gives after each of `total` steps: `checking  120 of 2000`.

    Nothing is written where standard error is no terminal: not into a pipe, not into a file. Plain letters, no colour.
    """
    if not sys.stderr.isatty():
        yield lambda: None
        return
    done = 0
    shown = ""
    next_time = monotonic() + _SOON

    def step() -> None:
        nonlocal done, shown, next_time
        done += 1
        if monotonic() >= next_time:
            next_time = monotonic() + _OFTEN
            shown = f"{doing}  {done} of {total}"[: shutil.get_terminal_size().columns - 1]
            sys.stderr.write(f"\r{shown}")
            sys.stderr.flush()

    try:
        yield step
    finally:
        if shown:
            sys.stderr.write(f"\r{' ' * len(shown)}\r")
            sys.stderr.flush()
