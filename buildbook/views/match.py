"""The best pairing beside the usual ones, with its proof, and what to grind where the limit is still missed."""

from fractions import Fraction

from rich.console import Console
from rich.text import Text

from buildbook.figures import Figures
from buildbook.figures.bores import Clearances, WithBores
from buildbook.figures.lengths import Ruler
from buildbook.figures.match import MatchFigures
from buildbook.quantities import fixed
from buildbook.records.model import WEIGHING_KINDS
from buildbook.views.map import locked
from buildbook.views.ruler import ends_of, gauge
from buildbook.views.screen import BAD, BOLD, DIM, DOUBT, GOOD, bar, heading, line, row, table, words


def draw_match(to: Console, figures: Figures) -> None:
    """The best pairing by weight."""
    best = figures.match
    _draw_question(to, figures, best)
    to.print()
    _draw_comparison(to, best)
    _draw_answer(to, figures, best)


def draw_with_bores(to: Console, figures: Figures) -> None:
    """The pairing under both limits, beside those that look at weights alone and at bores alone."""
    found, ruler = figures.with_bores, Ruler(figures.build.shop)
    best = found.both
    _draw_question(to, figures, best)
    to.print(words(_clearance_limit(found, ruler), DIM))
    to.print()
    _draw_ways(to, found, ruler)
    to.print(line((_trade(found, ruler), BOLD if found.proven else DOUBT)))
    to.print()
    bores = table(("cylinder", "left"), ("piston", "left"), (f"clearance {ruler.unit}", "right"), ("", "left"))
    limits = (None if found.least is None else float(found.least), None if found.most is None else float(found.most))
    ends = ends_of([*limits, *map(float, found.both_clearances.by_cylinder.values())])
    for cylinder, clearance in found.both_clearances.by_cylinder.items():
        piston = best.cylinders[cylinder].pieces["piston"]
        row(bores, words(cylinder, BOLD), words(piston, BOLD), ruler.text(clearance, 3),
            gauge(float(clearance), 0, limits, ends))  # fmt: skip
    to.print(bores)
    _draw_answer(to, figures, best)


def _draw_ways(to: Console, found: WithBores, ruler: Ruler) -> None:
    """What each way of placing the pistons comes to, side by side."""
    ways: tuple[tuple[MatchFigures | None, Clearances], ...] = (
        (found.weights, found.weights_clearances),
        (found.bores_matched, found.bores_clearances),
        (found.both, found.both_clearances),
    )
    listing = table(("", "left"), ("weight alone", "right"), ("bores alone", "right"), ("both", "right"))

    def compare(title: str, *cells: str) -> None:
        row(listing, title, *cells[:-1], words(cells[-1], BOLD))

    matchings = [matched.matching if matched else None for matched, _ in ways]
    big_ends = [each.throw_spread if each else None for each in matchings]
    clearances = [each for _, each in ways]
    compare("reciprocating spread g", *(fixed(each.spread, 2) if each else "" for each in matchings))
    compare("big ends of the throws g", *(fixed(each, 2) if each is not None else "" for each in big_ends))
    compare(f"least clearance {ruler.unit}", *(ruler.text(min(each.by_cylinder.values()), 3) for each in clearances))
    compare("most", *(ruler.text(max(each.by_cylinder.values()), 3) for each in clearances))
    compare("spread", *(ruler.text(each.spread, 3) for each in clearances))
    compare("outside the limit", *(str(each.outside) for each in clearances))
    compare("cannot tell", *(str(each.in_doubt) for each in clearances))
    to.print(listing)


def _clearance_limit(found: WithBores, ruler: Ruler) -> str:
    least, most = (None if each is None else ruler.text(each, 3) for each in (found.least, found.most))
    if least and most:
        return (
            f"piston clearance {least} to {most} {ruler.unit}, a minimum at the tightest place, a maximum by the mean"
        )
    if least or most:
        return f"piston clearance {f'at least {least}' if least else f'at most {most}'} {ruler.unit}"
    return "build.yaml sets no limit on piston_clearance; the piston maker's sheet has one"


def _trade(found: WithBores, ruler: Ruler) -> str:
    """What weights and bores cost each other, in words."""
    if found.tried == 0:
        return (
            "The pairing by weight stays: its clearances are as even as the gauges can tell "
            f"(differences below {ruler.text(found.told, 4)} {ruler.unit} are not)."
        )
    if not found.conflict:
        said = "No conflict: each set goes where its piston fits best, and the weights stay as even as they can be."
        before, after = found.weights.matching.throw_spread, found.both.matching.throw_spread
        if before is not None and after is not None and after > before:
            said += f" The big ends of the throws become {fixed(after - before, 2)} g less even by it."
        return said
    weight = fixed(found.both.matching.spread - found.weights.matching.best, 2)
    if found.proven and found.tried > 1:
        limit = found.both.limit
        if limit is not None and found.both.matching.spread > limit:
            return f"Locks set weights against bores: of all {found.tried} ways, none keeps both limits."
        return f"Locks set weights against bores: of all {found.tried} ways, this is the best. It costs {weight} g."
    if found.tried == 1:
        return f"The bores cost {weight} g of evenness in weight, within its limit; the clearances are the evenest."
    return (
        f"Locks set weights against bores: they tie other pieces to cylinders. Of {found.tried} ways tried by "
        f"exchanging two pistons this is the best; it is not proven. It costs {weight} g in weight."
    )


def _draw_question(to: Console, figures: Figures, best: MatchFigures) -> None:
    heading(to, "Match", figures.build.name)
    titles = [WEIGHING_KINDS[what].title for what in best.pools]
    to.print(words(f"reciprocating weight of each cylinder; free to choose: {', '.join(titles)}", DIM))
    for lock in figures.build.pairings.locks:
        to.print(words(locked(lock)))


def _draw_answer(to: Console, figures: Figures, best: MatchFigures) -> None:
    matching = best.matching
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
    spares = any(grind.spare for grind in best.grinding)
    listing = table(
        ("cylinder", "left"), ("take off", "left"), ("g", "right"), *((("or fit", "left"),) if spares else ())
    )
    for grind in best.grinding:
        spare = [words(f"the spare {grind.spare}, and match again" if grind.spare else "", BOLD)] if spares else []
        title = f"{WEIGHING_KINDS[grind.what].title} {grind.piece}"
        row(listing, grind.cylinder, title, fixed(grind.amount, 2), *spare)
    to.print(listing)
    to.print(words("Only where the part's maker allows metal to be taken off; weigh the piece again afterwards.", DIM))
