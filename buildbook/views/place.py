"""As matched beside as placed: what either leaves on the crankshaft, where every set goes, what each throw weighs."""

from collections.abc import Mapping

from rich.console import Console
from rich.text import Text

from buildbook.figures import Figures
from buildbook.figures.balance import PLANES
from buildbook.figures.crankpins import ByThrow, Left
from buildbook.figures.place import PlaceFigures
from buildbook.figures.throws import assumed_of_banks
from buildbook.quantities import fixed, two_figures
from buildbook.views.map import locked
from buildbook.views.polar import draw_both, polar_plot
from buildbook.views.screen import BAD, BOLD, DIM, DOUBT, GOOD, heading, line, row, table, words

_SAID = {
    "locked": ("THE LOCKS ASK FOR IT  ", BOLD, "as matched, a locked piece is not in its cylinder."),
    "stays": ("STAYS  ", GOOD, "no other way leaves less: every set is best where it is."),
    "cannot_tell": ("NO DIFFERENCE THAT MATTERS  ", DOUBT, "it is less than the weighings can tell: leave them."),
    "below_floor": (
        "NO DIFFERENCE THAT MATTERS  ", DOUBT, "as matched they leave no more than the job can tell: leave them.",
    ),
    "better": ("BETTER, NOT NEEDED  ", GOOD, "the scales can tell it, and as matched is over no limit."),
    "evener": ("AS EVEN AS ASKED  ", BOLD, "as matched, the reciprocating weights are further apart than that."),
    "needed": ("BETTER  ", BOLD, "as matched they leave more than a limit allows."),
}  # fmt: skip


# Where nothing is worth doing.
LEFT_ALONE = {"stays", "cannot_tell", "below_floor"}


def draw_place(to: Console, figures: Figures, found: PlaceFigures) -> None:
    heading(to, "Place", figures.build.name)
    whose = "decided in pairings.yaml" if found.decided else "'match' finds them, not recorded yet"
    sets = "sets made up anew from those as" if found.anew else "the sets stay together, as"
    to.print(words(f"what the parts leave on the crankshaft; {sets} {whose}", DIM))
    to.print(words(_against(found, factor_chosen=figures.build.balance.factor is not None), DIM))
    if assumed := assumed_of_banks(figures.build.engine, figures.layout):
        to.print(words(assumed, DOUBT))
    for lock in figures.build.pairings.locks:
        to.print(words(locked(lock)))
    if found.kept_out:
        bores = len(found.cylinders) * (len(found.cylinders) - 1)
        said = f"measured clearances rule out {len(found.kept_out)} of the {bores} other places of a piston"
        to.print(words(said, DIM))
    to.print()
    said, style, why = _SAID[found.worth]
    if found.worth == "stays" and not found.proven:
        why = "no way was found that leaves less."
    to.print(line((said, style), why))
    if found.after.over:
        to.print(line(("OVER A LIMIT  ", BAD), "even so placed: hang each throw its own bobweight, or match again."))
    to.print()
    _draw_left(to, figures, found)
    _draw_plots(to, figures, found)
    if found.anew is not None:
        spreads = [fixed(each, 2) for each in (found.anew.before, found.anew.after, found.anew.within)]
        said = "reciprocating spread {} g as matched, {} g now; {} g allowed".format(*spreads)
        to.print(line((said, BOLD)))
    style, how = (BOLD, "PROVEN  ") if found.proven else (BAD, "NOT PROVEN  ")
    to.print(line((how, style), how_known(found)))
    to.print()
    _draw_cylinders(to, figures, found)
    if len(found.by_throw.throws) > 1:
        to.print()
        draw_by_throw(to, figures, found.by_throw, "so placed")


def _against(found: PlaceFigures, *, factor_chosen: bool) -> str:
    start = found.start
    said = (
        f"against {'the bobweights as set' if start.as_set else 'equal bobweights'}, factor {float(start.factor):g} %"
    )
    said += "" if factor_chosen else " (none is chosen: half turns with the crankshaft)"
    return f"{said}; not weighed, so taken as equal: {', '.join(start.not_weighed)}" if start.not_weighed else said


def _draw_left(to: Console, figures: Figures, found: PlaceFigures) -> None:
    share = {"permissible": "of permissible", "shop": "of the limit", "grams": ""}[found.judged_by]
    listing = table(("left, g at the plane's radius", "left"), ("front", "right"), ("rear", "right"), (share, "right"))

    def each(title: str, left: Left, style: str = "") -> None:
        shown = figures.balance.shown(left.unbalance)
        readings = [words(f"{fixed(shown[p].amount, 2)} @ {round(shown[p].angle) % 360:3d}", style) for p in PLANES]
        row(listing, words(title, style), *readings, words(_per_cent(left.worst) if share else "", style))

    def known(title: str, at: Mapping[str, float], style: str = DIM) -> None:
        cells = [words(f"{fixed(at[plane], 2)}      " if plane in at else "", style) for plane in PLANES]
        row(listing, words(title, style), *cells, "")

    each("1 as matched", found.before)
    if found.exchange is not None:
        one, two = found.exchange.cylinders
        each(f"  only {one} and {two} exchanged", found.exchange.left, DIM)
    if found.moved:
        each(f"2 as placed ({found.moved} {'cylinders change' if found.anew else 'sets move'})", found.after, BOLD)
    tolerance = figures.yardsticks.tolerance
    if tolerance is not None:
        known(f"permissible, ISO 21940-11 {tolerance.grade}", found.before.standing.permissible)
    if found.before.standing.shop:
        known("the shop's own limit", found.before.standing.shop)
    if found.moved:
        known("what the weighings can tell of it", found.told)
    known("the floor: what the job can tell", found.floor)
    to.print(listing)
    planes = figures.balance.planes
    if tolerance is not None and tolerance.places != (planes.front.position, planes.rear.position):
        to.print(words("permissible holds at the bearings; the share is of what acts there", DIM))
    draw_unknown(to, found.by_throw)


def _per_cent(share: float) -> str:
    return f"{two_figures(100 * share)} %"


def _draw_plots(to: Console, figures: Figures, found: PlaceFigures) -> None:
    """Both planes with as matched as 1 and as placed as 2, within the circle of the tightest limit."""
    before, after = (figures.balance.shown(each.unbalance) for each in (found.before, found.after))
    standing = found.before.standing
    plots = []
    for plane in PLANES:
        limits = [each[plane] for each in (standing.permissible, standing.shop) if plane in each]
        readings = [before[plane], *([after[plane]] if found.moved else [])]
        plots.append(polar_plot(plane.upper(), readings, min(limits, default=None)))
    draw_both(to, plots)
    marks = "1 as matched, 2 as placed" if found.moved else "1 as matched"
    to.print(words(f"{marks}; distance from the middle: square root of the amount", DIM))


def how_known(found: PlaceFigures) -> str:
    """How it is known that the placing is the best, or how far from that it can be at most."""
    if found.proven and found.anew:
        return "No other way of making up and placing the sets leaves less."
    if found.ways == 1:
        return "The locks leave one way only." if len(found.cylinders) > 1 else "There is one way only."
    if found.proven:
        return f"All {found.ways:,} ways are accounted for: none leaves less at the worse plane."
    least, worst = (_in_unit(found, each) for each in (found.bound, found.after.worst))
    if found.anew:
        said = f"Found by exchanging pieces: {worst} is the best found, and no way leaves less than {least}."
    else:
        said = (
            f"Looked at {float(found.looked_at):.2g} of {float(found.ways):.2g} ways: {worst} is the best found, and "
            f"it is certain only that no way leaves less than {least}."
        )
    amounts = found.after.standing.amounts
    if all(amounts[plane] <= found.told[plane] for plane in PLANES):
        said += " What could still be gained is less than the weighings can tell."
    return said


def _in_unit(found: PlaceFigures, worst: float) -> str:
    if found.judged_by == "grams":
        return f"{fixed(worst, 4)} g"
    limit = "permissible" if found.judged_by == "permissible" else "limit"
    return f"{_per_cent(worst) if worst else '0 %'} of the {limit}"


def _draw_cylinders(to: Console, figures: Figures, found: PlaceFigures) -> None:
    kinds = list(dict.fromkeys(kind for each in found.cylinders.values() for kind in each.pieces))
    roomy = to.width >= 77
    listing = table(
        ("cylinder" if roomy else "cyl.", "left"),
        ("throw", "left"),
        *((kind.replace("_", " "), "left") for kind in kinds),
        ("carries g", "right"),
        ("moves" if found.anew else "was in", "left"),
    )
    for name, placed in found.cylinders.items():
        moves = placed.was_in or (", " if roomy else "\n").join(placed.moved).replace("_", " ")
        row(
            listing,
            words(name, BOLD),
            figures.layout.cylinders[name].throw,
            *(Text(placed.pieces.get(kind, ""), style=BOLD) for kind in kinds),
            fixed(placed.carries, 2),
            words(moves if placed.moved else "stays", "" if placed.moved else DIM),
        )
    to.print(listing)


def draw_unknown(to: Console, found: ByThrow) -> None:
    """What is not in the floor."""
    if found.unknown:
        to.print(words(f"not known yet, and so not in what the job can tell: {', '.join(found.unknown)}", DIM))


def draw_by_throw(to: Console, figures: Figures, found: ByThrow, when: str) -> None:
    """The exact weight of every throw, and whether bobweights of their own would be worth it."""
    to.print(line((f"Throw by throw, {when}", BOLD)))
    listing = table(
        ("throw", "left"), ("cylinders", "left"), ("carries g", "right"), ("half", "right"), ("off", "right")
    )
    for name, each in found.throws.items():
        row(listing, name, " ".join(each.cylinders), fixed(each.total, 2), fixed(each.half, 2),
            fixed(each.more, 2, sign=True))  # fmt: skip
    to.print(listing)
    to.print(words("off: from the bobweight that is the same for all", DIM))
    common, own = (
        " and ".join(fixed(each.standing.amounts[plane], 2) for plane in PLANES) + " g"
        for each in (found.common, found.own)
    )
    without = "one bobweight for all" if figures.bobweights.wanted else "without bobweights, as it is spun, it"
    said, style, why = {
        "no": ("Not worth it: ", DOUBT, "the difference is less than the job can tell."),
        "within_limits": ("A matter of taste: ", "", "the job can tell them apart, and neither is over a limit."),
        "yes": ("Worth it: ", BOLD, "the first is more than a limit allows."),
    }[found.worth]
    left = f"{without} leaves {common} front and rear, bobweights of each throw's own leave {own}; "
    to.print(line((said, style), left, why))
