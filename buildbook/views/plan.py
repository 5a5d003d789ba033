"""The real ways to take the last spin's unbalance away."""

from collections.abc import Sequence

from rich.console import Console

from buildbook.balance.plans import Plan
from buildbook.balance.unbalance import Unbalance
from buildbook.figures import Figures
from buildbook.figures.balance import BalanceFigures
from buildbook.figures.corrections import WEB, too_near
from buildbook.figures.lengths import Ruler
from buildbook.figures.proofs import answers_to_holes
from buildbook.quantities import fixed
from buildbook.views.screen import BAD, BOLD, DIM, DOUBT, heading, line, row, table, words
from buildbook.views.spins import CAUTION, both_planes


def draw_plans(to: Console, figures: Figures, plans: Sequence[Plan], leave: float) -> None:
    balance, ruler = figures.balance, Ruler(figures.build.shop)
    spin = balance.spins[-1]
    heading(to, "Plan", f"{figures.build.name}, after {spin.step.id}")
    share = f"; {fixed(leave * 100, 0)} % of it stays on purpose, for metal does not go back"
    to.print(line(("to take away: ", BOLD), both_planes(balance, spin.measured), share))
    if (answers := answers_to_holes(balance)) is not None:
        read = f"the readings answered the holes so far at {fixed(100 * answers.scale, 0)} %: "
        to.print(line(read, (str(answers.diagnoses[0]), BOLD), ("  ('buildbook prove' says more)", DIM)))
    if not plans:
        to.print(line(("No way found: ", BAD), "none of these bits, in these windows, takes it away."))
        return
    if not any(plan.holes for plan in plans):
        to.print(
            line(("Nothing to drill. ", BOLD), "Each plane is within the shop's limit, or has less than a bit takes.")
        )
        return
    for number, plan in enumerate(plans, start=1):
        _draw_plan(to, balance, ruler, number, plan)
    to.print()
    to.print(words(_LEGEND, DIM))
    if any(too_near(balance, hole) for plan in plans for hole in plan.holes):
        said = f"No way there keeps {ruler.with_unit(WEB, 1)} clear of earlier holes."
        to.print(words(f"{said} What runs into another takes less than it says here.", DOUBT))
    to.print(words(CAUTION, DIM))


_LEGEND = (
    "Depth at full diameter, from the rim, on the hole's axis, in the bit's unit; weight in g. What a hole acts as is "
    "in g at the plane's radius: a deep one acts like less than it weighs, for its middle is nearer the axis; the rule "
    "of thumb (weight at the rim, flat bottom) does not see that."
)


def _draw_plan(to: Console, balance: BalanceFigures, ruler: Ruler, number: int, plan: Plan) -> None:
    """One way to do it: its holes and plugs, and what it leaves."""
    decimals = 1 if ruler.unit == "mm" else 2  # 0.1 mm are 0.004 in, and a bit of 7/8 in is 0.875
    to.print()
    ways = "; ".join(f"{plane}: {way}" for plane, way in plan.ways.items())
    to.print(line((f"{number}  ", "bold reverse" if number == 1 else BOLD), (ways, BOLD)))
    into = [too_near(balance, hole) for hole in plan.holes]
    holes = table(
        ("", "left"), ("angle", "right"), (f"⌀ {ruler.unit}", "right"), ("deep", "right"),
        ("weight", "right"), ("acts as", "right"), ("by thumb", "right"),
        *((("", "left"),) if any(into) else ()),
    )  # fmt: skip
    for hole, step in zip(plan.holes, into, strict=True):
        towards = hole.unbalance if hole.kind == "hole" else -hole.unbalance
        row(
            holes,
            f"{hole.plane} {'drill' if hole.kind == 'hole' else 'plug'}",
            fixed(balance.place(towards), 0),
            ruler.text(hole.diameter, decimals),
            words(ruler.text(hole.depth, decimals), BOLD),
            fixed(hole.weight, 1),
            fixed(abs(hole.unbalance) / balance.plane(hole.plane).radius, 1),
            fixed(hole.simple.unbalance / balance.plane(hole.plane).radius, 1),
            *((words(f"too near {step}" if step else "", DOUBT),) if any(into) else ()),
        )
    if plan.holes:
        to.print(holes)
    plugs = dict.fromkeys((hole.diameter, hole.radius) for hole in plan.holes if hole.kind == "plug")
    for diameter, radius in plugs:
        wide, from_axis = (ruler.text(each, decimals) for each in (diameter, radius))
        to.print(
            words(f"  a {wide} {ruler.unit} plug lies along the crankshaft, {from_axis} {ruler.unit} from its axis")
        )
    remains = Unbalance(plan.remains["front"], plan.remains["rear"])
    to.print(line("  leaves ", (both_planes(balance, remains), BOLD)))
