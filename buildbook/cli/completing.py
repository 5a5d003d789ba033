"""What the Tab key offers from the build that a command line is about: its pieces, places, steps and sign-offs.

Each looks at the build that the line names so far, or else at the one whose folder this is; where there is none that
can be read, nothing is offered and nothing is said.
"""

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from buildbook.book.places import Misuse, engines, find_book, resolve
from buildbook.cli.common import complete_builds

if TYPE_CHECKING:
    from buildbook.records.model import Build, Entry


def complete_engines(incomplete: str) -> list[str]:
    """Engines, each with the slash that the name of a new build goes on with."""
    try:
        return _beginning(
            [f"{engine}/" for engine in engines(find_book(Path.cwd())) if engine.isprintable()], incomplete
        )
    except Misuse:
        return []


def complete_pieces(ctx: typer.Context, incomplete: str) -> list[str]:
    """The ids of the parts list; of the kind that is weighed, where the line says it, as a reading is named."""
    build = _build(ctx)
    if build is None:
        return []
    from buildbook.bench.plan import pieces_to_weigh
    from buildbook.records.model import WEIGHING_KINDS

    kind = ctx.params.get("kind")
    if kind in WEIGHING_KINDS:
        return _beginning(pieces_to_weigh(build, kind), incomplete)
    return _beginning((stamped.id for part in build.parts for stamped in part.ids), incomplete)


def complete_places(ctx: typer.Context, incomplete: str) -> list[str]:
    """The places at which something of that kind is measured, or which have such a fit: journals, cylinders, pieces."""
    build = _build(ctx)
    if build is None:
        return []
    from buildbook.figures import work_out
    from buildbook.figures.fits import FIT_KINDS, named_places
    from buildbook.records.model import MEASUREMENT_KINDS

    figures, kind = work_out(build), ctx.params.get("kind")
    if kind in FIT_KINDS and kind not in MEASUREMENT_KINDS:
        return _beginning(dict.fromkeys(fit.place.partition(" ")[0] for fit in figures.fits.of(kind)), incomplete)
    sorts = MEASUREMENT_KINDS[kind].at if kind in MEASUREMENT_KINDS else ("cylinder",)
    return _beginning(dict.fromkeys(name for at in sorts for name in named_places(at, figures)), incomplete)


def complete_moments(incomplete: str) -> list[str]:
    """Builds; and behind the `@` of one, its sign-offs: `heron-07/2025-06-first@A1`."""
    name, at, _ = incomplete.partition("@")
    if not at:
        return complete_builds(incomplete)
    build = _named(Path.cwd(), name)
    return _beginning([f"{name}@{each}" for each in _ids(build.sign_offs)], incomplete) if build else []


def complete_turning(ctx: typer.Context, incomplete: str) -> list[str]:
    """The parts that may be bolted to the crankshaft, by their ids."""
    build = _build(ctx)
    return _beginning(_turning(build), incomplete) if build else []


def complete_removable(ctx: typer.Context, incomplete: str) -> list[str]:
    """What may be taken off the crankshaft again: its parts, and the steps that added something."""
    build = _build(ctx)
    if build is None:
        return []
    added = [step for step in build.spins.steps if step.change is not None and step.change.kind in {"add", "plug"}]
    return _beginning([*_turning(build), *_ids(added)], incomplete)


_TURNING = frozenset(("flywheel", "flexplate", "clutch", "damper", "timing_set", "other"))


def _turning(build: "Build") -> list[str]:
    return [stamped.id for part in build.parts if part.kind in _TURNING for stamped in part.ids]


def _ids(entries: "Iterable[Entry]") -> list[str]:
    return [each.id for each in entries if each.id is not None]


def _beginning(names: Iterable[str], incomplete: str) -> list[str]:
    return [name for name in names if name.startswith(incomplete)]


def _build(ctx: typer.Context) -> "Build | None":
    """The build that the line is about so far. While the value of an option is being typed, its arguments stand among
    what is not read yet."""
    start = ctx.params.get("book") or Path.cwd()
    named = (_named(start, name) for name in (ctx.params.get("build"), *ctx.args) if name)
    return next((build for build in named if build is not None), None) or _named(start, None)


def _named(start: Path, name: str | None) -> "Build | None":
    from buildbook.book.reading import Reader

    try:
        book = find_book(start)
        return Reader(book).load(resolve(book, name, Path.cwd())).build
    except Misuse:
        return None
