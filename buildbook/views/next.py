"""What is left to do, in the order of the job: what can be done now stands out, what waits says for what."""

from collections.abc import Mapping, Sequence

from rich.cells import cell_len
from rich.console import Console
from rich.padding import Padding
from rich.table import Table

from buildbook.book.waiting import Waiting
from buildbook.figures.next import Job, Task
from buildbook.views.screen import BOLD, DIM, DOUBT, GOOD, heading, line, row, table, words

_ALIKE = ("weigh: ", "measure: ")  # things of which many wait for the same, each with a command of its kind
_COMMANDS = 36  # the column where commands begin, so that the eye finds them


def draw_next(to: Console, name: str, job: Job, since: str | None) -> None:
    """One build: what can be done now first, one thing a line; then what waits, what waits for the same told once.

    No command is ever broken, so that it can be copied.
    """
    heading(to, name, f"last record {since}" if since else "")
    if job.sealed:
        to.print(words("signed off and sealed: nothing is left to do", GOOD))
    else:
        to.print()
        if job.ready:
            to.print(words("Now", BOLD))
        for each in job.ready:
            _draw(to, "→ ", BOLD, each.what, each.command)
        waits = {each.name: each.waits_for for each in job.left}
        later = _grouped([each for each in job.left if each.waits_for])
        if later:
            to.print(words("Later", BOLD))
        for each in later:
            _draw(to, "  ", "", each.what, each.command, f"after {wait_words(_nearest(each.waits_for, waits))}")
        to.print()
        count, now = len(job.left), len(job.ready)
        to.print(line((f"{count} left", BOLD), f", {now} of them now; {job.done} done"))
    for besides in job.besides:
        _draw(to, "· ", DIM, besides.what, besides.command)


def _draw(to: Console, mark: str, style: str, what: str, command: str, wait: str = "") -> None:
    """A thing with its command and what it waits for: on one line where there is room, or else on the next."""
    after = [("  " if wait else "", ""), (wait, DOUBT)]
    needed = cell_len(command) + (cell_len(wait) + 2 if wait else 0)
    at = max(_COMMANDS, cell_len(mark + what) + 2)
    if at + needed <= to.width:
        to.print(line(mark, (what, style), " " * (at - cell_len(mark + what)), command, *after), soft_wrap=True)
        return
    listing = Table.grid()
    listing.add_column(width=2)
    listing.add_column(overflow="fold")
    listing.add_row(words(mark, style), words(what, style))
    to.print(listing)
    at = _COMMANDS if _COMMANDS + needed <= to.width else 4
    beside = at + needed <= to.width
    to.print(line(" " * at, command, *(after if beside else ())), soft_wrap=True)
    if wait and not beside:
        to.print(Padding(words(wait, DOUBT), (0, 0, 0, 4)))


def _grouped(left: Sequence[Task]) -> list[Task]:
    """Things of one sort that wait for the same, and whose commands differ in one word, as one: `weigh: pin, piston`,
    with KIND for that word."""
    found: list[Task] = []
    for each in left:
        for place, before in enumerate(found):
            command = _alike(before.command, each.command)
            sort, colon, rest = each.what.partition(": ")
            if command and f"{sort}{colon}" in _ALIKE and before.waits_for == each.waits_for:
                found[place] = before._replace(what=f"{before.what}, {rest}", command=command)
                break
        else:
            found.append(each)
    return found


def _alike(one: str, other: str) -> str | None:
    """Two commands as one, where they differ in one word."""
    mine, theirs = one.split(" "), other.split(" ")
    apart = [place for place, pair in enumerate(zip(mine, theirs, strict=False)) if pair[0] != pair[1]]
    if len(mine) != len(theirs) or len(apart) != 1:
        return None
    return " ".join("KIND" if place == apart[0] else word for place, word in enumerate(mine))


def draw_all(to: Console, waiting: Sequence[Waiting], builds: int) -> None:
    """The whole book: who waits longest stands first."""
    heading(to, "Next", "what the engines of this book wait for")
    if waiting:
        listing = table(("build", "left"), ("since", "left"), ("waits for", "left"), ("left", "right"))
        for each in waiting:
            row(listing, words(each.build, BOLD), words(each.since or "?", DIM), _first(each), str(len(each.left)))
        to.print(listing)
    if not builds:
        to.print(words("no engine has come in yet: 'buildbook new engine NAME' begins one", BOLD))
        return
    others = "; the others are sealed, or a later build follows them" if len(waiting) < builds else ""
    wait = "waits" if len(waiting) == 1 else "wait"
    to.print(words(f"{len(waiting)} of {builds} builds {wait} for something{others}", BOLD))


def _first(waiting: Waiting) -> str:
    """What a build waits for before all else."""
    if not waiting.left:
        return "files that can be read: see below"
    return next((task.what for task in waiting.left if not task.waits_for), waiting.left[0].what)


def _nearest(names: Sequence[str], waits: Mapping[str, Sequence[str]]) -> list[str]:
    """What something waits for, without the sorts of things that the rest of it waits for all the same."""
    before: set[str] = set()
    ahead = [each for name in names for each in waits.get(name, ())]
    while ahead:
        name = ahead.pop()
        if name not in before:
            before.add(name)
            ahead += waits.get(name, ())
    kept = {name.partition(": ")[0] for name in names if name not in before}
    return [name for name in names if name.partition(": ")[0] in kept]


def wait_words(names: Sequence[str]) -> str:
    """What something waits for; of many things of one sort only how many: `measuring (7), match`."""
    sorts: dict[str, list[str]] = {}
    for name in names:
        sort, colon, rest = name.partition(": ")
        sorts.setdefault(sort, []).extend([rest] if colon else [])
    return ", ".join(
        f"{sort} ({len(rests)})" if len(rests) > 2 else f"{sort}{': ' if rests else ''}{', '.join(rests)}"
        for sort, rests in sorts.items()
    )


def todo_json(task: Task, since: str | None) -> dict[str, object]:
    return {"what": task.what, "command": task.command, "waits_for": list(task.waits_for), "since": since}


def next_json(job: Job, since: str | None) -> list[dict[str, object]]:
    return [todo_json(each, since) for each in job.left]


def all_json(waiting: Sequence[Waiting]) -> list[dict[str, object]]:
    return [{"build": each.build} | todo_json(task, each.since) for each in waiting for task in each.left]
