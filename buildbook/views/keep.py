"""What was kept: the commit's subject, and what was edited of each build."""

from collections.abc import Sequence

from rich.console import Console
from rich.padding import Padding

from buildbook.views.screen import BOLD, line, words


def draw_kept(to: Console, message: str, edits: Sequence[tuple[str, Sequence[str]]], remarks: Sequence[str]) -> None:
    """`edits`: the builds, engines or the shop that were edited, and what of each."""
    subject = message.partition("\n")[0]
    to.print(line(("kept in git  ", BOLD), subject))
    if not all(said in subject for _, edited in edits for said in edited):
        for of, edited in edits:
            to.print(line((of, BOLD)))
            for said in edited:
                to.print(Padding(words(said), (0, 0, 0, 4)))
    for remark in remarks:
        to.print(words(remark))
