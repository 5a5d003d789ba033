"""`bobweight`: what to hang on each throw."""

from typing import TYPE_CHECKING

from buildbook.cli.common import AsJson, BookPath, BuildName, command, new_app, show_build
from buildbook.records.finding import Finding

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.figures import Figures

app = new_app()


@command(app, "buildbook bobweight heron-07/2026-10-rebuild")
def bobweight(build: BuildName = None, book: BookPath = None, as_json: AsJson = False) -> None:
    """Work out the bobweight of each throw, line by line, and hold what was set against it.

    A bobweight is what goes round with the crankpin, plus a share (the factor) of what goes up and down, plus an
    allowance for oil. Factor and oil are choices of the build. It is made in two halves.
    """

    def draw(to: "Console", figures: "Figures") -> None:
        from buildbook.views.bobweight import draw_bobweights

        draw_bobweights(to, figures)

    def as_figures(figures: "Figures") -> dict[str, object]:
        from buildbook.views.as_json import bobweights

        return {"bobweights": bobweights(figures)}

    show_build(build, book, as_json, as_figures, draw, _what_is_missing, needs_layout=True)


def _what_is_missing(figures: "Figures") -> list[Finding]:
    """For a crankshaft that wants bobweights, what keeps them from being worked out."""
    worked_out = figures.bobweights
    if not worked_out.wanted or not worked_out.missing:
        return []
    what = f"no bobweight yet: {'; '.join(worked_out.missing)}"
    why = "A bobweight with a part left out is too light, and looks right."
    remedy = "weigh it (weighings.yaml), or choose it (build.yaml)"
    return [Finding("warning", "missing", figures.build.files["weighings"], what, why, remedy)]
