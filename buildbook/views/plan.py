"""The real ways to take the last spin's unbalance away."""

from collections.abc import Sequence

from rich.console import Console

from buildbook.balance.plans import Plan
from buildbook.balance.unbalance import Unbalance
from buildbook.figures import Figures
from buildbook.figures.proofs import answers_to_holes
from buildbook.quantities import fixed
from buildbook.views.screen import BOLD, DIM, heading, line, row, table, words
from buildbook.views.spins import CAUTION, both_planes


def draw_plans(to: Console, figures: Figures, plans: Sequence[Plan], leave: float) -> None:
    balance = figures.balance
    spin = balance.spins[-1]
    heading(to, "Plan", f"{figures.build.name}, after {spin.step.id}")
    share = f"; {fixed(leave * 100, 0)} % of it stays on purpose, for metal does not go back"
    to.print(line(("to take away: ", BOLD), both_planes(balance, spin.measured), share))
    if (answers := answers_to_holes(balance)) is not None:
        read = f"the readings answered the holes so far at {fixed(100 * answers.scale, 0)} %: "
        to.print(line(read, (str(answers.diagnoses[0]), BOLD), ("  ('buildbook prove' says more)", DIM)))
    if not any(plan.holes for plan in plans):
        to.print(
            line(("Nothing to take. ", BOLD), "Both planes are within the shop's limit, or below what a bit takes.")
        )
        return
    for number, plan in enumerate(plans, start=1):
        to.print()
        ways = "; ".join(f"{plane}: {way}" for plane, way in plan.ways.items())
        to.print(line((f"{number}  ", "bold reverse" if number == 1 else BOLD), (ways, BOLD)))
        holes = table(
            ("", "left"), ("angle", "right"), ("⌀ mm", "right"), ("deep", "right"),
            ("weight", "right"), ("acts as", "right"), ("by thumb", "right"),
        )  # fmt: skip
        for hole in plan.holes:
            towards = hole.unbalance if hole.kind == "hole" else -hole.unbalance
            row(
                holes,
                f"{hole.plane} {'drill' if hole.kind == 'hole' else 'plug'}",
                fixed(balance.place(towards), 0),
                fixed(hole.diameter, 1),
                words(fixed(hole.depth, 1), BOLD),
                fixed(hole.weight, 1),
                fixed(abs(hole.unbalance) / balance.plane(hole.plane).radius, 1),
                fixed(hole.simple.unbalance / balance.plane(hole.plane).radius, 1),
            )
        if plan.holes:
            to.print(holes)
        plugs = dict.fromkeys((hole.diameter, hole.radius) for hole in plan.holes if hole.kind == "plug")
        for diameter, radius in plugs:
            said = f"  a {fixed(diameter, 1)} mm plug lies along the crankshaft, {fixed(radius, 1)} mm from its axis"
            to.print(words(said))
        remains = Unbalance(plan.remains["front"], plan.remains["rear"])
        to.print(line("  leaves ", (both_planes(balance, remains), BOLD)))
    to.print()
    to.print(
        words(
            "Depth in mm, at full diameter, from the rim, on the hole's axis; weight in g. What a hole acts as is in "
            "g at the plane's radius: a deep one acts like less than it weighs, for its middle is nearer the axis; the "
            "rule of thumb (weight at the rim, flat bottom) does not see that.",
            DIM,
        )
    )
    to.print(words(CAUTION, DIM))
