"""Sessions with a scale or a gauge, one a line; what is void stands struck out, with its reason."""

from collections.abc import Iterable

from rich.console import Console
from rich.text import Text

from buildbook.records.model import Entry
from buildbook.views.screen import DIM, DOUBT, plain, row, table


def draw_sessions(to: Console, sessions: Iterable[tuple[Entry, str]]) -> None:
    """Each session with what was done in it, in words; nothing where there is none."""
    listing = table(("session", "left"), ("taken", "left"), ("by", "left"), ("with", "left"), ("what", "left"))
    for session, said in sessions:
        struck = "strike dim" if session.void is not None else ""
        what = Text(plain(said), style=struck)
        if session.void is not None:
            what.append(plain(f"  VOID: {session.void}"), style=DOUBT)
        elif session.note:
            what.append(plain(f"  {session.note}"), style=DIM)
        taken = session.taken.text.replace("T", " ")[:16] if session.taken else ""
        cells = (session.id, taken, session.by, session.with_)
        row(listing, *(Text(plain(cell or ""), style=struck) for cell in cells), what)
    if listing.rows:
        to.print()
        to.print(listing)
