"""Where the throws are along the crankshaft, for whatever carries a weight on a crankpin to the spin planes."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, NamedTuple

from buildbook.balance.layouts import Layout
from buildbook.balance.shaking import one_cylinder_a_throw, positions
from buildbook.balance.unbalance import Planes, Unbalance
from buildbook.figures.balance import mm
from buildbook.records.model import Engine

if TYPE_CHECKING:
    from buildbook.figures import Figures


class Throws(NamedTuple):
    """The throws' places along the crankshaft [mm], the crank radius [mm], and the angle of throw 1 [deg]."""

    positions: Mapping[str, float]
    radius: float
    zero: float

    def carry(self, planes: Planes, throw: str, weight: complex) -> Unbalance:
        """A weight [g] at the crankpin of a throw, as a vector, carried to both planes [g·mm]."""
        return planes.carry(weight * self.radius, self.positions[throw])


def throws_of(figures: "Figures") -> Throws | str:
    """Where the throws are, or why that or what hangs on them is not known. Throws are evenly spaced by the bores;
    where each cylinder has one of its own, as in a boxer, they stand where the cylinders do. Throw 1 is at 0."""
    if not figures.has_layout:
        return "the engine's layout is not known"
    if figures.bobweights.missing:
        return "; ".join(figures.bobweights.missing)
    engine, layout = figures.build.engine, figures.layout
    positions = positions_of(engine, layout)
    if engine.stroke is None or positions is None:
        return f"engine.yaml states no {' and no '.join(unstated_sizes(engine, layout))}"
    return Throws(positions, mm(engine.stroke) / 2, next(iter(layout.throws.values())))


def unstated_sizes(engine: Engine, layout: Layout) -> list[str]:
    """The sizes that engine.yaml lacks of those that say where the crankpins are: the stroke, and how far apart they
    stand."""
    apart = unstated_distance(engine, layout)
    return [*(["stroke"] if engine.stroke is None else []), *([apart] if apart else [])]


def unstated_distance(engine: Engine, layout: Layout) -> str | None:
    """What engine.yaml lacks to say how far apart the throws stand: the bore spacing, or, where every cylinder is the
    only one of its bank, as in a flat twin, the bank offset. None where it lacks nothing."""
    if engine.bore_spacing is not None or len(layout.throws) == 1:
        return None
    if len({each.bank for each in layout.cylinders.values()}) < len(layout.cylinders):
        return "bore_spacing"
    return "bank_offset" if engine.bank_offset is None else None


def assumed_of_banks(engine: Engine, layout: Layout) -> str | None:
    """In words, what is taken for granted where there are several banks and engine.yaml does not say how far one stands
    behind the other (`balance.shaking.positions`)."""
    if engine.bank_offset is not None or len(layout.banks) == 1:
        return None
    taken = "throws" if one_cylinder_a_throw(layout) else "rods that share a throw"
    where = "evenly spaced" if one_cylinder_a_throw(layout) else "in one plane"
    return f"engine.yaml gives no bank_offset: {taken} are taken as {where}"


def positions_of(engine: Engine, layout: Layout) -> dict[str, float] | None:
    """How far each throw stands behind throw 1 [mm]; None where engine.yaml does not say how far apart they are."""
    if unstated_distance(engine, layout):
        return None
    spacing = mm(engine.bore_spacing)
    if one_cylinder_a_throw(layout):
        cylinders = cylinders_along(engine, layout)
        found = {each.throw: cylinders[name] for name, each in layout.cylinders.items()}
        in_order = {throw: found[throw] for throw in layout.throws}
        if sorted(in_order.values()) == [*in_order.values()]:
            return in_order
        spacing /= len(layout.banks)  # the banks do not take turns, and nobody says how they do
    return {throw: place * spacing for place, throw in enumerate(layout.throws)}


def cylinders_along(engine: Engine, layout: Layout) -> dict[str, float]:
    """How far each cylinder stands behind the middle of throw 1 [mm], with what engine.yaml does not state as in
    `balance.shaking.positions`, and all at one place where it states no bore spacing."""
    offset = mm(engine.bank_offset) if engine.bank_offset is not None else None
    return positions(layout, mm(engine.bore_spacing), offset)
