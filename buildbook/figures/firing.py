"""A firing order held against the layout that it is stated for."""

from collections.abc import Iterator, Sequence

from buildbook.balance.firing import firing, tops
from buildbook.balance.layouts import Layout
from buildbook.records.finding import Finding
from buildbook.records.model import Engine


def firing_findings(layout: Layout, engine: Engine) -> Iterator[Finding]:
    """Where engine.yaml's firing order is not one of its layout."""
    order, where = engine.firing_order, engine.where_firing_order
    if not order:
        return
    if sorted(order) != sorted(layout.cylinders):
        what = f"the firing order does not name each of the {len(layout.cylinders)} cylinders once"
        why = "Every cylinder fires once in two turns."
        yield Finding("error", "firing-order", where, what, why, "correct firing_order or layout")
        return
    said, fires = ", ".join(order), firing(layout, order)
    if fires is None:
        what = f"the cylinders cannot fire in the order {said}: {_stuck(layout, order)}"
        why = "A cylinder fires with its piston at the top, and all of them within two turns."
        remedy = "correct firing_order, or spell the layout out with the cylinders as they are numbered"
        yield Finding("warning", "firing-order", where, what, why, remedy)
    elif fires.variant in {"mirror", "mirror_and_sides"}:
        turned = ", ".join(f"{-angle % 360:g}" for angle in layout.throws.values())
        what = f"the order {said} is that of the mirror image of this crankshaft, with its throws at {turned}"
        why = "Which way round the throws stand decides to which side a change of weights pulls."
        remedy = "look which throw follows throw 1 as the crankshaft turns; then correct firing_order or layout"
        yield Finding("warning", "firing-order", where, what, why, remedy)
    elif fires.variant == "sides":
        what = f"the order {said} is that of this engine with its banks' sides exchanged"
        why = "Left and right change places with the end an engine is seen from; the layout counts from the front."
        remedy = "none is needed, or spell the layout out with the banks' angles the other way round"
        yield Finding("note", "firing-order", where, what, why, remedy)


def _stuck(layout: Layout, order: Sequence[str]) -> str:
    """Of an order that cannot be: how many turns it takes, and where it waits longest."""
    at = {name: top.angle for top in tops(layout) for name in top.cylinders}
    pairs = list(zip(order, (*order[1:], order[0]), strict=True))
    ahead = [(at[after] - at[before]) % 360 or 360.0 for before, after in pairs]
    longest = max(ahead)
    before, after = pairs[ahead.index(longest)]
    return f"that takes {sum(ahead) / 360:g} turns, as {after} comes to the top only {longest:g}° after {before}"
