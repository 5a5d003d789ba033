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
        return "engine.yaml states no stroke or no bore spacing"
    return Throws(positions, mm(engine.stroke) / 2, next(iter(layout.throws.values())))


def positions_of(engine: Engine, layout: Layout) -> dict[str, float] | None:
    """How far each throw stands behind throw 1 [mm]; None where engine.yaml does not say how far apart bores are."""
    if engine.bore_spacing is None and len(layout.throws) > 1:
        return None
    spacing = mm(engine.bore_spacing)
    if one_cylinder_a_throw(layout):
        offset = mm(engine.bank_offset) if engine.bank_offset is not None else None
        cylinders = positions(layout, spacing, offset)
        found = {each.throw: cylinders[name] for name, each in layout.cylinders.items()}
        in_order = {throw: found[throw] for throw in layout.throws}
        if sorted(in_order.values()) == [*in_order.values()]:
            return in_order
        spacing /= len(layout.banks)  # the banks do not take turns, and nobody says how they do
    return {throw: place * spacing for place, throw in enumerate(layout.throws)}
