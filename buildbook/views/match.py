"""The best pairing beside the usual ones, with its proof, and what to grind where the limit is still missed."""

from fractions import Fraction

from rich.console import Console
from rich.text import Text

from buildbook.figures import Figures
from buildbook.figures.match import MatchFigures
from buildbook.quantities import fixed
from buildbook.records.model import WEIGHING_KINDS
from buildbook.views.map import locked
from buildbook.views.screen import BAD, BOLD, DIM, GOOD, bar, heading, line, row, table, words


def draw_match(to: Console, figures: Figures) -> None:
    best = figures.match
    matching = best.matching
    heading(to, "Match", figures.build.name)
    titles = [WEIGHING_KINDS[what].title for what in best.pools]
    to.print(words(f"reciprocating weight of each cylinder; free to choose: {', '.join(titles)}", DIM))
    for lock in figures.build.pairings.locks:
        to.print(words(locked(lock)))
    to.print()
    _draw_comparison(to, best)
    to.print()
    verdict = "PROVEN  " if matching.proven else "NOT PROVEN  "
    to.print(line((verdict, BOLD if matching.proven else BAD), matching.how))
    _draw_cylinders(to, figures, best)
    spread = f"{fixed(matching.spread, 2)} g between heaviest and lightest"
    if best.limit is None:
        to.print(line((spread, BOLD), "; build.yaml sets no limit (reciprocating_spread)"))
    elif best.meets_limit:
        to.print(line((spread, BOLD), (f", within the limit of {fixed(best.limit, 2)} g", GOOD)))
    else:
        to.print(line((spread, BOLD), (f", OVER the limit of {fixed(best.limit, 2)} g", BAD)))
        _draw_grinding(to, best)


def _draw_comparison(to: Console, best: MatchFigures) -> None:
    """As numbered, sorted by hand and best, as bars on one scale."""
    matching = best.matching
    spreads: list[tuple[str, Fraction]] = [
        ("as numbered", matching.as_numbered_spread),
        ("heavy with light, by hand", matching.sorted_spread),
        ("best", matching.best),
    ]
    if matching.spread > matching.best:
        spreads.append(("as they are, and stay", matching.spread))
    if best.limit is not None:
        spreads.append(("limit", best.limit))
    widest = max(float(spread) for _, spread in spreads) or 1.0
    comparison = table(("spread", "left"), ("g", "right"), ("", "left"))
    for name, spread in spreads:
        style = {"best": BOLD, "limit": DIM}.get(name, "")
        row(
            comparison,
            words(name, style),
            words(fixed(spread, 2), style),
            words(bar(float(spread) / widest, 36), style),
        )
    to.print(comparison)


def _draw_cylinders(to: Console, figures: Figures, best: MatchFigures) -> None:
    kinds = list(dict.fromkeys(kind for cylinder in best.cylinders.values() for kind in cylinder.pieces))
    decision = figures.build.pairings.decision
    listing = table(
        ("cylinder", "left"),
        ("throw", "left"),
        *((kind.replace("_", " "), "left") for kind in kinds),
        ("recip. g", "right"),
        ("from mean", "right"),
    )
    if decision:
        listing.add_column("moves")
    for name, cylinder in best.cylinders.items():
        now = decision.cylinders[name].pieces if decision and name in decision.cylinders else {}
        moves = [kind for kind, piece in cylinder.pieces.items() if now and now.get(kind) != piece]
        row(
            listing,
            words(name, BOLD),
            figures.layout.cylinders[name].throw,
            *(Text(cylinder.pieces.get(kind, ""), style=BOLD) for kind in kinds),
            fixed(cylinder.reciprocating, 2),
            fixed(cylinder.from_mean, 2, sign=True),
            *([words(", ".join(moves).replace("_", " "), DIM)] if decision else []),
        )
    to.print(listing)


def _draw_grinding(to: Console, best: MatchFigures) -> None:
    to.print(words("The least grinding that brings this pairing within the limit:", BOLD))
    listing = table(("cylinder", "left"), ("take off", "left"), ("g", "right"))
    for grind in best.grinding:
        row(listing, grind.cylinder, f"{WEIGHING_KINDS[grind.what].title} {grind.piece}", fixed(grind.amount, 2))
    to.print(listing)
    to.print(words("Only where the part's maker allows metal to be taken off; weigh the piece again afterwards.", DIM))
