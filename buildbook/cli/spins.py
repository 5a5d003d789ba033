"""`spins`: the whole story at the balancing machine, and whether to go on."""

from typing import TYPE_CHECKING

from buildbook.cli.common import AsJson, BookPath, BuildName, command, new_app, show_build
from buildbook.records.finding import Finding

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.figures import Figures

app = new_app()


@command(app, "buildbook spins heron-07/2025-06-first")
def spins(build: BuildName = None, book: BookPath = None, as_json: AsJson = False) -> None:
    """Tell the whole balancing story: spins, corrections, predictions, and when to stop.

    Each spin is held against the permissible residual (ISO 21940-11), the shop's own limit, and the floor: what the
    rest of the job leaves uncertain. Below the floor, another spin cannot tell better from worse.
    """

    def draw(to: "Console", figures: "Figures") -> None:
        from buildbook.views.spins import draw_spins

        draw_spins(to, figures)

    def as_figures(figures: "Figures") -> dict[str, object]:
        from buildbook.views.balance_json import spins

        return spins(figures)

    show_build(build, book, as_json, as_figures, draw, cannot_tell)


def cannot_tell(figures: "Figures") -> list[Finding]:
    """What keeps the story from being told; and the findings that take working out every hole."""
    from buildbook.figures.balance import NoBalance

    try:
        if figures.balance.spins:
            figures.yardsticks.standing(figures.balance.spins[-1])
    except NoBalance as error:
        why = "Without it, readings cannot be made into weights and places."
        return [Finding("error", "no-balance", error.where, error.what, why, error.remedy)]
    return [*figures.spin_findings]
