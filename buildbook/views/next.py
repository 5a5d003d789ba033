"""What is left to do, in the order of the job: what can be done now stands out, what waits says for what."""

from collections.abc import Sequence

from rich.cells import cell_len
from rich.console import Console
from rich.padding import Padding

from buildbook.book.waiting import Waiting
from buildbook.figures.next import Job, ToDo
from buildbook.views.screen import BOLD, DIM, DOUBT, GOOD, heading, line, row, table, words

_SHOWN_MOST = 3  # of the things that one waits for; the rest are counted
_COMMANDS = 36  # the column where commands begin, so that the eye finds them


def draw_next(to: Console, name: str, job: Job, since: str | None) -> None:
    """One build: every thing with its command beside or under it, never broken, so that it can be copied."""
    heading(to, name, f"last record {since}" if since else "")
    if job.sealed:
        to.print(words("signed off and sealed: nothing is left to do", GOOD))
        return
    to.print()
    beside = [each for each in job.left if _fits_beside(each, to.width)]
    if 3 * len(beside) < 2 * len(job.left):  # one way for nearly all of them, or the other
        beside = []
    for each in job.left:
        ready = not each.waits_for
        what: list[tuple[object, str] | str] = [("→ " if ready else "  ", BOLD), (each.what, BOLD if ready else "")]
        if each in beside:
            to.print(line(*what, " " * (_COMMANDS - cell_len(each.what) - 2) + each.command), soft_wrap=True)
        else:
            to.print(line(*what))
            to.print(words(f"    {each.command}"), soft_wrap=True)
        if not ready:
            to.print(Padding(words(f"waits for {wait_words(each.waits_for)}", DOUBT), (0, 0, 0, 4)))
    to.print()
    count, now = len(job.left), len(job.ready)
    to.print(line((f"{count} left", BOLD), f", {now} of them now (→); {job.done} done"))


def _fits_beside(todo: ToDo, width: int) -> bool:
    """Whether a thing and its command stand in one line."""
    return cell_len(todo.what) + 4 <= _COMMANDS and _COMMANDS + cell_len(todo.command) <= width


def draw_all(to: Console, waiting: Sequence[Waiting], builds: int) -> None:
    """The whole book: who waits longest stands first."""
    heading(to, "Next", "what the engines of this book wait for")
    if waiting:
        listing = table(("build", "left"), ("since", "left"), ("waits for", "left"), ("left", "right"))
        for each in waiting:
            row(listing, words(each.build, BOLD), words(each.since or "?", DIM), _first(each), str(len(each.left)))
        to.print(listing)
    said = f"{len(waiting)} of {builds} builds wait for something"
    to.print(words(f"{said}; the others are sealed, or a later build follows them", BOLD))


def _first(waiting: Waiting) -> str:
    """What a build waits for before all else."""
    if not waiting.left:
        return "files that can be read: see below"
    return next((todo.what for todo in waiting.left if not todo.waits_for), waiting.left[0].what)


def wait_words(names: Sequence[str]) -> str:
    """What something waits for; things of one sort are named together: `measuring: main bore, rod bore`."""
    said: list[str] = []
    before = ""
    for name in names[:_SHOWN_MOST]:
        sort, colon, rest = name.partition(": ")
        said.append(rest if colon and sort == before else name)
        before = sort if colon else ""
    more = f" and {len(names) - _SHOWN_MOST} more" if len(names) > _SHOWN_MOST else ""
    return ", ".join(said) + more


def todo_json(todo: ToDo, since: str | None) -> dict[str, object]:
    return {"what": todo.what, "command": todo.command, "waits_for": list(todo.waits_for), "since": since}


def next_json(job: Job, since: str | None) -> list[dict[str, object]]:
    return [todo_json(each, since) for each in job.left]


def all_json(waiting: Sequence[Waiting]) -> list[dict[str, object]]:
    return [{"build": each.build} | todo_json(todo, each.since) for each in waiting for todo in each.left]
