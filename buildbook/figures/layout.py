"""An engine's layout as it can be drawn: where its throws, main bearings and spin planes are, and when it fires."""

from collections.abc import Mapping
from typing import NamedTuple

from buildbook.balance.firing import Firing, Top, can_fire_evenly, firing, tops
from buildbook.balance.layouts import Layout
from buildbook.figures.balance import mm
from buildbook.figures.throws import positions_of
from buildbook.records.model import Build, Engine


class Drawn(NamedTuple):
    """A layout with what the engine's files say beside it.

    `positions` [mm behind throw 1] is None where nobody says how far apart the throws are. `mains_between` tells
    whether there is a main bearing on both sides of every throw; other numbers do not say where they stand.
    """

    layout: Layout
    order: tuple[str, ...]
    firing: Firing | None  # None where no order is stated, or where it cannot be
    tops: tuple[Top, ...]
    could_be_even: bool
    positions: Mapping[str, float] | None
    mains_between: bool
    main_bearings: int | None
    planes: Mapping[str, float]  # spin plane → [mm behind throw 1]
    of_an_engine: bool  # or of a layout by itself, which has no sizes


def drawn(layout: Layout, engine: Engine | None = None, build: Build | None = None) -> Drawn:
    """What can be drawn of a layout: by itself, or with what engine.yaml and the build's spins.yaml say."""
    order = engine.firing_order if engine else ()
    bearings = engine.main_bearings if engine else None
    planes = build.spins.planes.items() if build else ()
    return Drawn(
        layout,
        order,
        firing(layout, order) if order and sorted(order) == sorted(layout.cylinders) else None,
        tops(layout),
        can_fire_evenly(layout),
        positions_of(engine, layout) if engine else None,
        bearings == len(layout.throws) + 1,
        bearings,
        {name: mm(plane.position) for name, plane in planes if plane.position is not None},
        engine is not None,
    )
