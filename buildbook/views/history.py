"""The life of an engine: build by build, day by day, who did what."""

from collections.abc import Mapping, Sequence
from datetime import date

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from buildbook.figures.timeline import Event, Line, by_day, came_later
from buildbook.views.ids import runs
from buildbook.views.screen import BOLD, DIM, DOUBT, GOOD, heading, line, row, table, words

_STYLES = {"signed": GOOD, "reopened": DOUBT, "edited by hand": DOUBT}


def draw_history(
    to: Console,
    engine: str,
    described: str | None,
    lives: Mapping[str, Sequence[Event]],
    unreadable: Sequence[str],
    no_commits: str | None,
    *,
    everything: bool,
) -> None:
    """Each build with its days; and what git has to add, if it has anything."""
    heading(to, "History", f"{engine}  {described or ''}".strip())
    for name, events in lives.items():
        if not events and name == engine:
            continue
        to.print()
        to.print(line((name, BOLD), ("  engine.yaml" if name == engine else "", DIM)))
        if name in unreadable:
            to.print(words("  no record can be told until what was found below is put right", DOUBT))
        elif not events:
            to.print(words("  nothing", DIM))
        listing = _every_record(events) if everything else _days(events)
        to.print(Padding(listing, (0, 0, 0, 2)))
        _draw_later(to, events)
    if no_commits is not None:
        to.print()
        said = f"The book has no history of commits, so hand edits are not known: {no_commits}"
        to.print(words(said, DIM))


def _listing(*sides: str) -> Table:
    listing = table(*((side, "left") for side in sides))
    listing.show_header = False
    listing.columns[0].no_wrap = True
    return listing


def _day(day: date | None) -> str:
    return day.isoformat() if day else "no day"


def _days(events: Sequence[Event]) -> Table:
    listing = _listing("day", "what")
    for day, lines in by_day(events).items():
        for number, each in enumerate(lines):
            row(listing, words("" if number else _day(day), BOLD), _said(each))
    return listing


def _said(each: Line) -> Text:
    """One line of a day: what was done, of what, and who did it."""
    what, of = each.what, ", ".join(each.of)
    if what == "spun" and len(each.events) > 1:
        what, of = f"spun {len(each.events)} times", f"at last {each.events[-1].of}"
    void = [(f"  VOID: {each.void}", DOUBT)] if each.void is not None else []
    record = f"{each.events[0].record} " if void and each.events[0].record else ""
    return line(
        (record, BOLD),
        (what, "strike dim" if void else _STYLES.get(each.what, "")),
        (f": {of}" if of else "", "strike dim" if void else ""),
        *void,
        (f"  · {', '.join(each.who)}" if each.who else "", DIM),
    )


def _every_record(events: Sequence[Event]) -> Table:
    """Every record with its id and its note."""
    listing = _listing("day", "id", "what")
    before: object = ""
    for event in events:
        time = f" {event.when.text[11:16]}" if event.when and event.when.has_time else ""
        said = _said(Line(event.what, (event._replace(record=None),)))
        if event.note:
            said.append_text(words(f"  {event.note}", DIM))
        if event.late is not None:
            said.append_text(words(f"  in the book since {event.late.when.date()}", DOUBT))
        name = event.record or (event.commit or "")[:7]
        row(listing, words((_day(event.day) if event.day != before else " " * 10) + time, BOLD), name, said)
        before = event.day
    return listing


def _draw_later(to: Console, events: Sequence[Event]) -> None:
    """What came into the book on another day than its own, by the commit that brought it."""
    for commit, brought in came_later(events):
        names = runs(event.record or event.what for event in brought)
        said = f"in the book since {commit.when.date()}, not since their own day"
        to.print(Padding(line((said, DOUBT), f" ({commit.author}, {commit.sha[:7]}): {names}"), (0, 0, 0, 2)))
