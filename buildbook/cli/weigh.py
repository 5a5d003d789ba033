"""`weigh`: weigh piece by piece at the keyboard or from the scale; or take weights down as given, or from a file."""

from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse
from buildbook.cli.bench import record_entered
from buildbook.cli.common import (
    AsJson,
    BookPath,
    BuildOption,
    By,
    Note,
    command,
    complete_scales,
    finish,
    new_app,
)
from buildbook.cli.completing import complete_pieces
from buildbook.cli.given import Asked, Csv, DryRun, From, Given, Unit, check_unit
from buildbook.cli.weighings import complete_kinds
from buildbook.records.finding import did_you_mean

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.bench.plan import Plan
    from buildbook.bench.record import Entered
    from buildbook.figures import Figures

app = new_app()

Kind = Annotated[
    str,
    typer.Argument(
        metavar="KIND", help="What is weighed, such as piston or rod_big_end; the Tab key lists them.",
        autocompletion=complete_kinds, show_default=False,
    ),
]  # fmt: skip
Pieces = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="[PIECE[=READINGS]]...",
        help="Pieces to weigh, if not all that are left; or with what the scale showed, to take it down at once: "
        "P1=507.06 P2=507.49,507.50. A lot as total=29.58 pieces=16 each=2.",
        autocompletion=complete_pieces, show_default=False,
    ),
]  # fmt: skip
With = Annotated[
    str | None,
    typer.Option(
        "--with", metavar="SCALE", help="The scale: an id from shop.yaml. Only one there needs no naming.",
        autocompletion=complete_scales, show_default=False,
    ),
]  # fmt: skip
Check = Annotated[
    str | None,
    typer.Option(
        "--check", metavar="WEIGHT,BEFORE,AFTER",
        help="Beside readings that are given: the check weight and what it read, as in 500.0,500.0,500.1",
        show_default=False,
    ),
]  # fmt: skip


@command(app, "buildbook weigh piston P1=507.06 P2=507.49 --build heron-07 --with fine_scale --by mika")
def weigh(
    kind: Kind,
    pieces: Pieces = None,
    build: BuildOption = None,
    with_: With = None,
    from_: From = None,
    csv_file: Csv = None,
    dry_run: DryRun = False,
    check: Check = None,
    unit: Unit = None,
    by: By = None,
    note: Note = None,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """Weigh piece by piece: it asks, you type what the scale shows and press Enter.

    Each reading is on disk as it is taken; stop at any time with Ctrl-C, and the same command goes on there. The keypad
    alone does: - goes back one, + reads the last piece once more, * skips, ** leaves out the rest, /text is a note. The
    point may be left out once it is known where it goes. A number far off is asked for again. With --from, the scale's
    own PRINT key is Enter.
    """
    from buildbook.records.model import WEIGHING_KINDS

    if kind not in WEIGHING_KINDS:
        remedy = did_you_mean(kind, WEIGHING_KINDS, f"use one of {', '.join(WEIGHING_KINDS)}")
        raise Misuse(f"'{kind[:40]}' is no kind of weighing", remedy)
    check_unit(unit, "mass")
    asked = Asked(
        build, book, "weighings", kind, "mass", with_=with_, by=by, unit=unit, note=note, from_=from_, as_json=as_json
    )
    only_given = {"--check": check is not None}
    recorded = record_entered(
        asked, pieces or (), csv_file, partial(_prepared, kind, check), only_given, example="P1=507.06", dry_run=dry_run
    )
    figures = recorded.figures
    summary = figures.weighings.get(kind)

    def draw(to: "Console") -> None:
        from buildbook.views.weighings import draw_kind

        recorded.draw(to)
        if summary is not None:
            to.print()
            draw_kind(to, summary, ())

    def as_figures() -> dict[str, object]:
        from buildbook.views.as_json import weighings

        return {"recorded": recorded.id, "weighings": weighings(figures)}

    finish(figures.build.name, as_figures, [*recorded.findings, *recorded.brought], draw, as_json=as_json)


_LOT = ("total", "pieces", "each")


def _prepared(
    kind: str, check: str | None, given: Mapping[str, Given], figures: "Figures", unit: str
) -> "tuple[Plan, Entered]":
    """Weights as given, as a session. Raises Misuse."""
    from buildbook.bench.plan import Plan, lot_of
    from buildbook.bench.record import Entered
    from buildbook.records.model import WEIGHING_KINDS

    known = WEIGHING_KINDS[kind]
    lot = lot_of(figures, kind) if "total" in given and not known.each else None
    plan = Plan("weighings", kind, known.title, "mass", (), lot, {}, {}, again=False)
    nominal, before, after = (None,) * 3 if check is None else _check_weight(check)
    entered = Entered(unit, {}, nominal=nominal, before=before, after=after)
    if lot is None:
        return plan, entered._replace(readings={piece: each.texts for piece, each in given.items()})
    more = [name for name in given if name not in _LOT]
    if more:
        raise Misuse(
            f"{more[0][:40]} is given beside a lot", f"a lot is {', '.join(_LOT)}; or give each piece its weight"
        )
    count, each = _count(given, "pieces") or lot.pieces, _count(given, "each") or lot.each
    if count is None:
        raise Misuse("how many pieces the lot has is not said", "add pieces=16, or as many as there are")
    if each is None:
        raise Misuse("how many of them each cylinder has is not said", "add each=2, or as many as there are")
    return plan, entered._replace(total=given["total"].texts, pieces=count, each=each)


def _count(given: Mapping[str, Given], name: str) -> int | None:
    if name not in given:
        return None
    texts = given[name].texts
    if len(texts) != 1 or not texts[0].isdecimal() or not 0 < int(texts[0]) < 1000:
        raise Misuse(
            f"{name}={','.join(texts)[:20]} is no number of pieces", f"write it in whole pieces, as in {name}=2"
        )
    return int(texts[0])


def _check_weight(check: str) -> tuple[str | None, ...]:
    """What it is, and what it read before and after. Raises Misuse."""
    parts: list[str | None] = [part.strip() or None for part in check.split(",")]
    if not 2 <= len(parts) <= 3 or parts[0] is None or not any(parts[1:]):
        raise Misuse(f"--check: '{check[:40]}' is no check weight with what it read", "write it like 500.0,500.0,500.1")
    return (*parts, None)[:3]
