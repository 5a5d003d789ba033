"""`prove`: is it the crankshaft, or the machine, a part, or its fit?"""

from typing import TYPE_CHECKING

from buildbook.cli.common import AsJson, BookPath, BuildName, command, new_app, show_build
from buildbook.cli.spins import cannot_tell

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.figures import Figures

app = new_app()


@command(app, "buildbook prove heron-07/2025-06-first")
def prove(build: BuildName = None, book: BookPath = None, as_json: AsJson = False) -> None:
    """Say what the record proves of the machine, of parts put on, and of drift.

    A spin with a known test mass proves scale, angle and cross-talk of the machine as it is set up; a spin before and
    after a damper proves the damper; a part turned on its seat tells its own unbalance from that of its fit
    (ISO 21940-14); the same state spun twice shows drift.
    """

    def draw(to: "Console", figures: "Figures") -> None:
        from buildbook.figures.proofs import answers_to_holes, proofs
        from buildbook.views.prove import draw_proofs

        draw_proofs(to, figures, proofs(figures.balance), answers_to_holes(figures.balance))

    def as_figures(figures: "Figures") -> dict[str, object]:
        from buildbook.figures.proofs import answers_to_holes, proofs
        from buildbook.views import balance_json

        return balance_json.proofs(figures, proofs(figures.balance), answers_to_holes(figures.balance))

    show_build(build, book, as_json, as_figures, draw, cannot_tell)
