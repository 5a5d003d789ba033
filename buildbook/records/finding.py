"""Everything found wrong, anywhere, is a Finding."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, NamedTuple

Severity = Literal["error", "warning", "note"]


class Where(NamedTuple):
    """A place in a file that an editor can jump to; line and column count from 1."""

    file: str
    line: int
    column: int

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


@dataclass(frozen=True, slots=True)
class Finding:
    """What is wrong, where, why it matters and what to do about it.

    An `error` makes a figure wrong or impossible, a `warning` makes it doubtful, a `note` is for information and
    does not change the exit code. `rule` is the short name by which a finding can be looked up.
    """

    severity: Severity
    rule: str
    where: Where
    what: str
    why: str
    remedy: str


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name that a misspelt one was most likely meant to be."""
    from difflib import get_close_matches  # only a slip needs it

    near = get_close_matches(name, list(known), n=1, cutoff=0.5)
    return near[0] if near else None


def did_you_mean(name: str, known: Iterable[str], otherwise: str) -> str:
    """A remedy for a misspelt name: the nearest known one first, where there is one."""
    near = nearest(name, known)
    return f"did you mean {near}? or {otherwise}" if near else otherwise
