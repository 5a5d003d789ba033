"""A sign-off, as it was made."""

from typing import TYPE_CHECKING

from rich.console import Console

from buildbook.views.screen import BOLD, GOOD, line, words

if TYPE_CHECKING:
    from buildbook.records.model import SignOff


def draw_signed(to: Console, sign_off: "SignOff", seal: str | None) -> None:
    count = f"{len(sign_off.figures)} figures frozen with version {sign_off.version}"
    to.print(line(("signed  ", BOLD), f"{sign_off.stage}, by {sign_off.by}: {count}"))
    if sign_off.note:
        to.print(line(("note  ", BOLD), sign_off.note))
    if seal is not None:
        to.print(words(seal, GOOD), soft_wrap=True)
        to.print(line(("digest  ", BOLD), sign_off.digest or ""), soft_wrap=True)


def signed(sign_off: "SignOff", seal: str | None) -> dict[str, object]:
    """A sign-off as JSON, its figures by name as they are stored."""
    return {
        "id": sign_off.id,
        "stage": sign_off.stage,
        "taken": sign_off.taken.text if sign_off.taken else None,
        "by": sign_off.by,
        "version": sign_off.version,
        "note": sign_off.note,
        "digest": sign_off.digest,
        "sealed": seal,
        "figures": {name: figure.text for name, figure in sign_off.figures.items()},
    }
