"""`trace`: where a number came from."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse, find_book, resolve
from buildbook.cli.common import AsJson, BookPath, BuildName, command, new_app, open_book, show_build
from buildbook.records.finding import Finding, did_you_mean
from buildbook.records.tree import ListNode, MapNode, Node, TextNode

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.figures import Figures
    from buildbook.figures.trace_steps import Step
    from buildbook.views.trace import Behind, Papers

app = new_app()


def complete_figures(incomplete: str) -> list[str]:
    """The figures of the build here, for the Tab key."""
    from buildbook.book.reading import Reader
    from buildbook.figures import work_out
    from buildbook.figures.named import named_figures

    try:
        book = find_book(Path.cwd())
        build = Reader(book).load(resolve(book, None, Path.cwd())).build
    except Misuse:
        return []
    return [name for name in (named_figures(work_out(build)) if build else ()) if name.startswith(incomplete)]


FigureName = Annotated[
    str | None,
    typer.Argument(
        metavar="FIGURE", help="The figure, such as reciprocating_spread, bobweight.2 or main_clearance.5.",
        autocompletion=complete_figures, show_default=False,
    ),
]  # fmt: skip
Listed = Annotated[
    bool, typer.Option("--list", help="List every figure of the build with its value.", show_default=False)
]


@command(app, "buildbook trace bobweight_target heron-07/2025-06-first")
def trace(
    figure: FigureName = None,
    build: BuildName = None,
    listed: Listed = False,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """Say where a figure came from: its formula, the same with the values in it, and all that was read for it.

    Each reading is shown with its session, who took it, with what, whether that was in calibration, and the commit that
    brought it into the book; with readings of the same thing that came before or were voided, and with what was changed
    by hand since. --list shows the names of all figures; after it, a build may be named alone.
    """
    if listed and build is None:
        figure, build = "", figure
    if figure is None:
        raise Misuse("which figure is not said", "name one, or see 'buildbook trace --list'")
    name = figure
    root = open_book(book)
    steps: list[Step] = []

    def look(figures: "Figures") -> list[Finding]:
        if listed:
            return []
        kind = _known(figures, name)
        steps.append(_trace(figures, name))
        return _errors(figures, kind)

    def draw(to: "Console", figures: "Figures") -> None:
        from buildbook.views.trace import draw_names, draw_trace

        if listed:
            draw_names(to, figures, name)
        else:
            draw_trace(to, figures, steps[0], _behind(root, steps[0]))

    def as_figures(figures: "Figures") -> Mapping[str, object]:
        from buildbook.views import trace_json

        if listed:
            return trace_json.names(figures, name)
        return trace_json.trace(figures, steps[0], _behind(root, steps[0]))

    show_build(build, book, as_json, as_figures, draw, look)


def _known(figures: "Figures", name: str) -> str:
    """The kind of the figure of that name. Raises Misuse with the nearest names."""
    from buildbook.figures.named import named_figures

    named = named_figures(figures)
    if name in named:
        return named[name].kind
    see = "see 'buildbook trace --list'"
    of_kind = [each for each in named if named[each].kind == name]
    if of_kind:
        listed = ", ".join(of_kind[:12]) + (", …" if len(of_kind) > 12 else "")
        raise Misuse(f"there are several of '{name}'", f"name one: {listed}; or {see}")
    raise Misuse(f"{figures.build.name} has no figure named '{name[:40]}'", did_you_mean(name, named, see))


def _trace(figures: "Figures", name: str) -> "Step":
    from buildbook.figures.trace import trace

    return trace(figures, name)


def _errors(figures: "Figures", kind: str) -> list[Finding]:
    """What is wrong with the records that the figure is made of: no figure is shown then."""
    from buildbook.figures.fits import FIT_KINDS
    from buildbook.figures.named import SIZES

    if kind in FIT_KINDS or kind in SIZES:
        return [*figures.fit_errors(FIT_KINDS[kind].needs if kind in FIT_KINDS else {kind})]
    return [each for each in figures.spin_findings if each.severity == "error"] if kind == "residual" else []


def _behind(book: Path, step: "Step") -> "Behind":
    """Where exactly everything stands that the figure came from, and what git has kept of it."""
    from buildbook.book import blame, git
    from buildbook.views.trace import Behind

    sources = step.all_sources()
    asked: list[blame.Asked] = [(each.where, each.field) for each in sources if each.where is not None]
    for earlier in (earlier for source in sources for earlier in source.earlier):
        asked.append((earlier.where, ()))
        if earlier.entry.void is not None:
            asked.append((earlier.entry.where, ("void",)))
    try:
        kept, not_kept = blame.blame(book, asked), None
    except git.NotKept as reason:
        amiss = reason.situation
        kept, not_kept = {}, f"which commit brought what cannot be said: {amiss.what if amiss else reason}"
    return Behind(blame.places(asked), kept, not_kept, _papers(book))


def _papers(book: Path) -> "dict[str, Papers]":
    """The serial numbers of the shop's instruments, and those of their certificates."""
    from buildbook.book.reading import Reader
    from buildbook.views.trace import Papers

    root, _ = Reader(book).file("shop", book / "shop.yaml", needed=True)
    instruments = root.get("instruments") if root else None
    found = {}
    for name, each in instruments.items() if isinstance(instruments, MapNode) else ():
        again = each.get("recalibrated") if isinstance(each, MapNode) else None
        calibrations = [each, *(again.items if isinstance(again, ListNode) else ())]
        certificates = [said for of in calibrations if (said := _text(of, "certificate")) is not None]
        found[name] = Papers(_text(each, "serial"), certificates)
    return found


def _text(node: Node, name: str) -> str | None:
    inner = node.get(name) if isinstance(node, MapNode) else None
    return inner.text if isinstance(inner, TextNode) and not inner.is_null else None
