"""`layout`: the engine drawn from its front and from its side, and when its cylinders fire."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple, NoReturn

import typer

from buildbook.book.places import Misuse, builds, engines, resolve
from buildbook.cli.common import AsJson, BookPath, command, complete_builds, finish, new_app, open_book
from buildbook.records.finding import Finding

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.figures.layout import Drawn

app = new_app()


def complete_layouts(incomplete: str) -> list[str]:
    from buildbook.balance.layouts import KNOWN

    return [name for name in KNOWN if name.startswith(incomplete)]


What = Annotated[
    str | None,
    typer.Argument(
        metavar="[BUILD]", help="A build or an engine; inside its folder no name is needed.",
        autocompletion=complete_builds, show_default=False,
    ),
]  # fmt: skip
Name = Annotated[
    str | None,
    typer.Option(
        "--name", metavar="LAYOUT", help="A known layout instead, such as v6_90_split_pin_30; it needs no book.",
        autocompletion=complete_layouts, show_default=False,
    ),
]  # fmt: skip
Spell = Annotated[bool, typer.Option("--spell", help="Print the mapping as YAML, to paste into engine.yaml.")]
List = Annotated[bool, typer.Option("--list", help="List every known layout.")]


class _Asked(NamedTuple):
    """What is to be drawn: under which title, what is said of it, the build if it is one, and what was found."""

    title: str
    said: str
    drawn: "Drawn"
    build: str | None = None
    findings: tuple[Finding, ...] = ()


@command(app, "buildbook layout heron-07")
def layout(
    build: What = None,
    name: Name = None,
    spell: Spell = False,
    listed: List = False,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """Draw an engine: its banks and crankpins from the front, its throws from the side, and when its cylinders fire.

    It draws what engine.yaml says, and the spin planes of the build where there is one. The firing order is held
    against the layout: a cylinder fires with its piston at the top. Without an order it says which pistons come to the
    top together. For a layout that is not known by name, --spell prints the nearest one to start from.
    """
    if listed:
        if build is not None or name is not None or spell:
            raise Misuse("--list goes alone", "leave the rest out")
        _list(as_json)
    if build is not None and name is not None:
        raise Misuse("a build and a layout are both named", "name one of them")
    asked = _named(name) if name is not None else _of_book(build, book, as_json)

    def draw(to: "Console") -> None:
        from buildbook.views.layout import draw_layout, spelled
        from buildbook.views.screen import words

        if spell:
            for each in spelled(asked.drawn.layout):
                to.print(words(each), soft_wrap=True)
        else:
            draw_layout(to, asked.drawn, asked.title, asked.said)

    def as_figures() -> dict[str, object]:
        from buildbook.views.layout import spelled
        from buildbook.views.layout_json import layout

        return {"layout": layout(asked.drawn, asked.said or None, "\n".join(spelled(asked.drawn.layout)))}

    finish(asked.build, as_figures, asked.findings, draw, as_json=as_json)


def _list(as_json: bool) -> NoReturn:
    from buildbook.balance.firing import can_fire_evenly
    from buildbook.balance.layouts import KNOWN, known_layout

    known = [(name, plan.said, can_fire_evenly(known_layout(name))) for name, plan in KNOWN.items()]

    def draw(to: "Console") -> None:
        from buildbook.views.layout import draw_list

        draw_list(to, known)

    def as_figures() -> dict[str, object]:
        return {
            "layouts": [{"name": name, "description": said, "could_fire_evenly": even} for name, said, even in known]
        }

    finish(None, as_figures, (), draw, as_json=as_json)


def _named(name: str) -> _Asked:
    """A known layout by itself. Raises Misuse."""
    from buildbook.balance.layouts import LayoutError, known_layout, plan_of
    from buildbook.figures.layout import drawn

    try:
        return _Asked(name, plan_of(name).said, drawn(known_layout(name)))
    except LayoutError as error:
        near = f"did you mean {' or '.join(error.nearest)}? " if error.nearest else ""
        raise Misuse(f"no layout is called '{name[:40]}'", f"{near}see 'buildbook layout --list'") from None


def _of_book(build: str | None, book: Path | None, as_json: bool) -> _Asked:
    """The layout of an engine of the book, with the build that is meant, if it has one."""
    from buildbook.balance.layouts import LayoutError, plan_of
    from buildbook.book.reading import Reader
    from buildbook.figures.cylinders import layout_of_engine
    from buildbook.figures.firing import firing_findings
    from buildbook.figures.layout import drawn
    from buildbook.views.show import unreadable

    root = open_book(book)
    full_name = _engine_without_builds(root, build) or resolve(root, build, Path.cwd())
    reader = Reader(root)
    engine, findings = reader.engine(full_name.partition("/")[0])
    wrong = [each for each in findings if each.severity == "error"]
    if engine is None or wrong:
        finish(full_name, dict, findings, lambda to: unreadable(to, full_name), as_json=as_json)
    try:
        layout = layout_of_engine(engine)
    except LayoutError as error:
        why = "What is not laid out cannot be drawn."
        remedy = "name a layout of 'buildbook layout --list' in engine.yaml, or spell it out"
        wrong = [Finding("error", "layout", engine.where_layout, str(error), why, remedy)]
        finish(full_name, dict, wrong, lambda to: unreadable(to, full_name), as_json=as_json)
    loaded = reader.load(full_name).build if "/" in full_name else None
    found = drawn(layout, engine, loaded)
    said = plan_of(layout.name).said if layout.name else "spelled out in engine.yaml"
    return _Asked(full_name, said, found, full_name, (*findings, *firing_findings(found.layout, engine)))


def _engine_without_builds(root: Path, name: str | None) -> str | None:
    """An engine that no build was begun of yet, by its name or by the folder we are in."""
    if name is None:
        try:
            inside = Path.cwd().absolute().relative_to(root / "engines").parts
        except ValueError:
            return None
        name = inside[0] if inside else None
    known = name is not None and name.strip("/") in engines(root)
    return name.strip("/") if name is not None and known and not builds(root, name.strip("/")) else None
