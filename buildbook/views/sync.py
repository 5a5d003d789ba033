"""What a sync brought and sent, and what is left to decide."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.console import Console
from rich.padding import Padding

from buildbook.views.screen import BAD, BOLD, DIM, DOUBT, GOOD, line, words

if TYPE_CHECKING:
    from buildbook.book.merging import Question
    from buildbook.book.syncing import Entered, Synced

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
    if done.renumbered:
        to.print()
        to.print(words("renumbered, because the id was taken", BOLD))
        for each in done.renumbered:
            bench = "this bench" if each.side == "ours" else "the other bench"
            to.print(Padding(line((f"{each.old} of {bench} is now {each.new}", DOUBT)), (0, 0, 0, 2)))
            to.print(Padding(words(each.file, DIM), (0, 0, 0, 4)))
    if done.questions:
        to.print()
        to.print(words("to decide", BAD))
        for question in done.questions:
            _draw_question(to, question)
    if done.saved:
        to.print()
        to.print(words("kept whole beside ours", BOLD))
        for path in done.saved:
            to.print(Padding(words(path), (0, 0, 0, 2)))


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
        more = len(each.records) - _MOST
        listed = [*each.records[:_MOST], f"and {more} more"] if more > 0 else each.records
        what = ", ".join(listed) or f"changed: {', '.join(path.rpartition('/')[2] for path in each.files)}"
        to.print(Padding(words(what), (0, 0, 0, 4)))


def _draw_question(to: Console, question: "Question") -> None:
    to.print(Padding(line((question.where, BOLD)), (0, 0, 0, 2)))
    to.print(Padding(words(question.file, DIM), (0, 0, 0, 4)))
    to.print(Padding(words(question.what), (0, 0, 0, 4)))
    to.print(Padding(line("this bench       ", (question.ours, BOLD)), (0, 0, 0, 4)))
    to.print(Padding(line("the other bench  ", (question.theirs, BOLD)), (0, 0, 0, 4)))
    to.print(Padding(line(("→ ", BOLD), remedy(question)), (0, 0, 0, 4)))


def remedy(question: "Question") -> str:
    """What to do about a question."""
    if question.where == "the whole file":
        return "compare the two, enter what is missing here, and delete the one that is not needed"
    if "which is void" in question.what:
        return "measure again: the later session counts; or, if the other is right, take its 'void' away"
    if "signed under" in question.what or "sealed" in question.what:
        return "run 'buildbook audit'; then reopen the build, say why, and sign it once more"
    if "decided" in question.what:
        return "match again, or leave it: the later decision counts"
    if "taken out" in question.what:
        return "leave it, or give it 'void: why'"
    return "correct the field if the other is right, take the words out of the note, then 'buildbook keep'"


def sync_json(done: "Synced") -> dict[str, object]:
    return {
        "outcome": done.outcome,
        "remote": done.remote,
        "branch": done.branch,
        "commit": done.commit,
        "tries": done.tries,
        "taken": [_entered_json(each) for each in done.taken],
        "sent": [_entered_json(each) for each in done.sent],
        "questions": [each._asdict() | {"remedy": remedy(each)} for each in done.questions],
        "renumbered": [each._asdict() for each in done.renumbered],
        "saved": list(done.saved),
        "seals_taken": [_seal(name) for name in done.seals_taken],
        "seals_sent": [_seal(name) for name in done.seals_sent],
    }


def _entered_json(each: "Entered") -> dict[str, object]:
    return {"build": each.build, "records": list(each.records), "by": list(each.by), "files": list(each.files)}
