"""What a sync brought and sent, and what is left to decide."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.console import Console
from rich.padding import Padding

from buildbook.views.screen import BAD, BOLD, DIM, DOUBT, GOOD, line, words

if TYPE_CHECKING:
    from buildbook.book.sync.entered import Entered
    from buildbook.book.sync.syncing import Synced
    from buildbook.book.sync.undecided import Question

_MOST = 12  # records of one build on the screen; a whole new build would fill it

_OUTCOMES = {
    "nothing": "nothing new on either side",
    "sent": "sent; nothing new at the other benches",
    "received": "received; nothing new here",
    "merged": "merged and sent",
}


def draw_sync(to: Console, done: "Synced") -> None:
    style = BOLD if done.questions else GOOD
    to.print(line((_OUTCOMES[done.outcome], style), f"  {done.remote}, {done.branch}, at {done.commit[:7]}"))
    if done.tries > 1:
        to.print(words(f"another bench was quicker: it took {done.tries} tries", DIM))
    _draw_entered(to, "taken from the other benches", done.taken)
    _draw_entered(to, "sent from this bench", done.sent)
    _draw_seals(to, "seals taken from the other benches", done.seals_taken)
    _draw_seals(to, "seals sent from this bench", done.seals_sent)
    if done.renumbered or done.seals_renamed:
        to.print()
        to.print(words("renumbered, because the id was taken", BOLD))
        for each in done.renumbered:
            bench = "this bench" if each.side == "ours" else "the other bench"
            to.print(Padding(line((f"{each.old} of {bench} is now {each.new}", DOUBT)), (0, 0, 0, 2)))
            to.print(Padding(words(each.file, DIM), (0, 0, 0, 4)))
        for old, new in done.seals_renamed.items():
            to.print(Padding(line((f"{_seal(old)} of this bench is now {_seal(new)}", DOUBT)), (0, 0, 0, 2)))
    if done.questions:
        to.print()
        to.print(words("to decide", BAD))
        for question in done.questions:
            _draw_question(to, question)
        to.print(words("once it is decided, 'buildbook keep' and 'buildbook sync' tell the other benches", DIM))
    if done.saved:
        to.print()
        to.print(words("kept whole beside ours", BOLD))
        for saved in done.saved:
            to.print(Padding(words(saved.path), (0, 0, 0, 2)))
            to.print(Padding(words(saved.why, DIM), (0, 0, 0, 4)))


def _draw_seals(to: Console, title: str, names: Sequence[str]) -> None:
    if names:
        to.print()
        to.print(words(title, BOLD))
        to.print(Padding(words(", ".join(_seal(name) for name in names)), (0, 0, 0, 2)))


def _seal(name: str) -> str:
    return name.removeprefix("refs/tags/")


def _draw_entered(to: Console, title: str, entered: "Sequence[Entered]") -> None:
    if not entered:
        return
    to.print()
    to.print(words(title, BOLD))
    for each in entered:
        by = f"by {', '.join(each.by)}" if each.by else ""
        to.print(Padding(line((each.build, BOLD), f"  {by}" if by else ""), (0, 0, 0, 2)))
        if each.records or not each.removed:
            what = _few(each.records) or f"changed: {', '.join(path.rpartition('/')[2] for path in each.files)}"
            to.print(Padding(words(what), (0, 0, 0, 4)))
        if each.removed:
            to.print(Padding(line(("taken out: ", DOUBT), _few(each.removed)), (0, 0, 0, 4)))


def _few(records: Sequence[str]) -> str:
    more = len(records) - _MOST
    return ", ".join([*records[:_MOST], f"and {more} more"] if more > 0 else records)


def _draw_question(to: Console, question: "Question") -> None:
    from buildbook.book.sync.undecided import NOTHING, SIGN_OFFS, WHOLE_FILE

    at = f"{question.file}:{question.line}" if question.line > 1 else question.file
    to.print(Padding(line((question.where, BOLD)), (0, 0, 0, 2)))
    to.print(Padding(words(at, DIM), (0, 0, 0, 4)))
    to.print(Padding(words(question.what), (0, 0, 0, 4)))
    ours = "one         " if question.where == SIGN_OFFS else "counts now  "
    values = ((ours, question.counts), ("the other   ", question.other))
    for title, value in () if (question.where, question.other) == (WHOLE_FILE, NOTHING) else values:
        first, *more = _lines(question, value)
        if first:
            to.print(Padding(line(title, (first, BOLD)), (0, 0, 0, 4)))
        for each in more:
            to.print(Padding(words(each), (0, 0, 0, 16)))
    for each in question.remedies:
        to.print(Padding(line(("→ ", BOLD), each), (0, 0, 0, 4)))


def _lines(question: "Question", value: str) -> list[str]:
    """A value as it stands on the screen: that of a pairing is who decided it, and the sets one by one."""
    from buildbook.book.sync.undecided import PAIRING

    if question.where != PAIRING:
        return [value]
    who, _, sets = value.rpartition("): ")
    return [f"{who})", *(f"cylinder {each}" for each in sets.split("; "))] if who else value.split("; ")


def sync_json(done: "Synced") -> dict[str, object]:
    return {
        "outcome": done.outcome,
        "remote": done.remote,
        "branch": done.branch,
        "commit": done.commit,
        "tries": done.tries,
        "taken": [_entered_json(each) for each in done.taken],
        "sent": [_entered_json(each) for each in done.sent],
        "questions": [_question_json(each) for each in done.questions],
        "renumbered": [each._asdict() for each in done.renumbered],
        "saved": [each._asdict() for each in done.saved],
        "seals_taken": [_seal(name) for name in done.seals_taken],
        "seals_sent": [_seal(name) for name in done.seals_sent],
        "seals_renamed": {_seal(old): _seal(new) for old, new in done.seals_renamed.items()},
    }


def _question_json(each: "Question") -> dict[str, object]:
    return each._asdict() | {"what": each.what, "remedies": list(each.remedies)}


def _entered_json(each: "Entered") -> dict[str, object]:
    return {name: value if isinstance(value, str) else list(value) for name, value in each._asdict().items()}
