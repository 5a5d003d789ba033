"""What the engine shakes with: force and moment by order, over a turn, and as a path."""

from collections.abc import Callable, Mapping, Sequence
from itertools import zip_longest

from rich.console import Console
from rich.table import Table

from buildbook.balance.shaking import Circles, Order
from buildbook.figures import Figures
from buildbook.figures.shaking import NEGLIGIBLE, BuildShaking, Orders, Shaking, peak
from buildbook.quantities import fixed
from buildbook.views.canvas import Canvas
from buildbook.views.curve import LABEL, curve
from buildbook.views.screen import BOLD, DIM, DOUBT, Column, heading, line, row, table, words

_PATH_COLUMNS, _PATH_ROWS = 26, 13
_AT_ONE_PLACE = 0.08  # of the largest: closer than one number can be written beside another


def draw_shaking(to: Console, figures: Figures, found: Shaking) -> None:
    heading(to, "Shaking", figures.build.name)
    ratio = f", crank over rod {fixed(found.crank_to_rod, 4)}" if found.crank_to_rod else ""
    named = found.layout.name or "layout as spelled out"
    count = len(found.layout.cylinders)
    to.print(words(f"{named}, {count} cylinder{'s' if count > 1 else ''}{ratio}", DIM))
    to.print()
    _draw_nominal(to, found.nominal)
    to.print()
    if found.build is None:
        to.print(line(("This build, in N and N·m", BOLD), ("  not known:", DOUBT)))
        for lacking in found.missing:
            to.print(words(f"  {lacking}", DOUBT))
        return
    _draw_build(to, found.build, found.assumed)
    _draw_turn(to, found.build)


def _draw_nominal(to: Console, orders: Orders) -> None:
    to.print(line(("The layout alone", BOLD), ("  all pistons alike, no counterweights, about mid-length", DIM)))
    columns: tuple[Column, ...] = (("largest", "right"), ("with", "right"), ("against", "right"))
    listing = _table_of_orders(columns)
    for number, name, circles in _four(orders):
        unit = f"F{number}" if name == "force" else f"F{number} a"
        largest, *parts = (fixed(amount, 3) for amount in _amounts(circles))
        row(listing, _title(number, name), words(f"{largest} {unit}", BOLD), *parts, how(circles, 1.0))
    to.print(listing)
    said = (
        "As in handbooks: F1 is mass × crank radius × speed squared, of one piston; F2 is F1 × crank over rod; a is "
        "from one throw to the next. A moment rocks the engine, up and down or sideways, about mid-length, midway "
        "between the first and the last cylinder."
    )
    to.print(words(said, DIM))


def _table_of_orders(columns: Sequence[Column]) -> Table:
    """With the name of each order in one piece, however narrow the screen."""
    listing = table(("order", "left"), *columns, ("", "left"))
    listing.columns[0].no_wrap = True
    return listing


def _draw_build(to: Console, build: BuildShaking, assumed: str | None) -> None:
    to.print(line((f"This build at {build.speed:g} rpm", BOLD), (f"  {build.masses.whose};", DIM)))
    to.print(words(f"{build.masses.counterweights}; second order by the exact slider-crank", DIM))
    if assumed:
        to.print(words(assumed, DOUBT))
    columns: tuple[Column, ...] = (("alone", "right"), ("balanced", "right"), ("with", "right"))
    listing = _table_of_orders((*columns, ("against", "right")))
    force, moment = build.uncancelled
    for (number, name, alone), (_, _, circles) in zip(_four(build.pistons), _four(build.balanced), strict=True):
        unit, scale = ("N", force) if name == "force" else ("N·m", moment)
        largest, *parts = (fixed(amount, 0) for amount in _amounts(circles))
        figures = fixed(alone.largest, 0), words(largest, BOLD), *parts
        row(listing, f"{_title(number, name)}, {unit}", *figures, how(circles, scale))
    for unit, exact, series in (
        ("N", build.largest_force, build.two_terms.force),
        ("N·m", build.largest_moment, build.two_terms.moment),
    ):
        largest, by_series = fixed(exact.amount, 0), fixed(peak(series).amount, 0)
        told = f"at {exact.angle}°; two terms {by_series}" if largest != "0" else "nothing"
        row(listing, f"all, {unit}", "", words(largest, BOLD), "", "", told)
    to.print(listing)
    said = (
        "Alone: pistons without counterweights. Balanced: as this crankshaft is. With: turns with the crankshaft; in "
        "the first order a counterweight can cancel it. Against: turns the other way; nothing on the crankshaft "
        "cancels that, nor the second order, which turns twice as fast. All: every order together, at that angle of "
        "the crankshaft from where 'layout' draws it; beside it, the usual series of two terms."
    )
    to.print(words(said, DIM))


def _four(orders: Orders) -> list[tuple[int, str, Circles]]:
    numbered: Sequence[tuple[int, Order]] = ((1, orders.first), (2, orders.second))
    return [
        (number, name, circles)
        for number, order in numbered
        for name, circles in (("force", order.force), ("moment", order.moment))
    ]


def _title(number: int, name: str) -> str:
    return f"{'1st' if number == 1 else '2nd'} {name}"


def _amounts(circles: Circles) -> tuple[float, float, float]:
    return circles.largest, abs(circles.with_crank), abs(circles.against_crank)


def how(circles: Circles, scale: float) -> str:
    """How it goes, in words: nothing, round, to and fro, or an ellipse. `scale` is what it would be if nothing
    cancelled."""
    nothing = NEGLIGIBLE * scale
    with_crank, against_crank = abs(circles.with_crank), abs(circles.against_crank)
    if circles.largest <= 1e-9 * scale:
        return "nothing"
    if circles.largest < nothing:
        return "next to nothing"
    if against_crank < nothing:
        return "turns with it"
    if with_crank < nothing:
        return "turns against it"
    if circles.smallest < nothing:
        return _direction(circles.direction, "up and down", "sideways", "to and fro ")
    return f"ellipse, {_direction(circles.direction, 'upright', 'lying')}"


def _direction(angle: float, upright: str, lying: str, otherwise: str = "") -> str:
    nearest = round(angle) % 180
    return {0: upright, 90: lying}.get(nearest, f"{otherwise}at {nearest}°")


_PARTS: Mapping[str, Callable[[complex], float]] = {
    "up and down": lambda vector: vector.real,
    "sideways": lambda vector: vector.imag,
}


def _draw_turn(to: Console, build: BuildShaking) -> None:
    """Up and down and sideways over a turn, and beside them the path that the whole vector takes."""
    columns = 29 if to.width < 110 else 53
    force, moment = build.uncancelled
    for name, turn, scale, unit in (("force", build.force, force, "N"), ("moment", build.moment, moment, "N·m")):
        to.print()
        largest = max(map(abs, turn))
        if largest <= NEGLIGIBLE * scale:
            to.print(words(f"The {name} is {fixed(largest, 0)} {unit} at most, next to nothing: not drawn.", DIM))
            continue
        left = []
        for direction, part in _PARTS.items():
            if max(abs(part(vector)) for vector in turn) > largest / 50:
                left.append(f"{'':{LABEL + 1}}{f'{name} {direction}, {unit}':^{columns}}")
                left += _curve(turn, part, columns)
        right = [
            f"{f'path of the {name}, from the front':^{_PATH_COLUMNS + 2}}",
            *_path(turn, largest),
            f"{f'rim {fixed(largest, 0)} {unit}; 0 1 2 3: quarter turns':^{_PATH_COLUMNS + 2}}",
        ]
        beside = to.width >= LABEL + 1 + columns + 2 + max(map(len, right))
        joined = zip_longest(left, right, fillvalue="") if beside else [(each, "") for each in (*left, *right)]
        for one, other in joined:
            to.print(words(f"{one:<{LABEL + 1 + columns}}  {other}".rstrip()))


def _curve(turn: Sequence[complex], part: Callable[[complex], float], columns: int) -> list[str]:
    def at(angle: float) -> float:
        return part(turn[round(angle) % len(turn)])

    return curve(at, 360.0, columns, lambda amount: fixed(amount, 0), places=360)


def _path(turn: Sequence[complex], largest: float) -> list[str]:
    canvas = Canvas(_PATH_COLUMNS, _PATH_ROWS)
    canvas.circle(1.0, step=6)
    for before, after in zip(turn, (*turn[1:], turn[0]), strict=True):
        canvas.line(before.imag / largest, before.real / largest, after.imag / largest, after.real / largest)
    for vector, numbers in quarter_turns(turn, largest):
        canvas.write(vector.imag, vector.real, numbers)
    return canvas.lines()


def quarter_turns(turn: Sequence[complex], largest: float) -> list[tuple[complex, str]]:
    """Where the vector is at each quarter turn, as a share of the largest, with the number of the quarter turn, or the
    numbers of those that are at one place."""
    found: list[tuple[complex, str]] = []
    for quarter in range(4):
        vector = turn[quarter * len(turn) // 4] / largest
        together = [number for number, (other, _) in enumerate(found) if abs(vector - other) < _AT_ONE_PLACE]
        if together:
            place, numbers = found[together[0]]
            found[together[0]] = place, f"{numbers},{quarter}"
        else:
            found.append((vector, str(quarter)))
    return found


def shaking_json(found: Shaking) -> dict[str, object]:
    """`figures.shaking`: nominal in the units of handbooks, the build in N and N·m."""
    build = found.build
    return {
        "layout": found.layout.name,
        "crank_to_rod": found.crank_to_rod,
        "nominal": _orders_json(found.nominal),
        "build": {
            "speed": build.speed,
            "masses": build.masses.whose,
            "counterweights": build.masses.counterweights,
            **_orders_json(build.balanced),
            "pistons": _orders_json(build.pistons),
            "largest_force": build.largest_force._asdict(),
            "largest_moment": build.largest_moment._asdict(),
            "two_terms": {
                "largest_force": peak(build.two_terms.force)._asdict(),
                "largest_moment": peak(build.two_terms.moment)._asdict(),
            },
            "force": [[each.real, each.imag] for each in build.force],
            "moment": [[each.real, each.imag] for each in build.moment],
        }
        if build is not None
        else None,
        "missing": [*found.missing],
        "assumed": found.assumed,
    }


def _orders_json(orders: Orders) -> dict[str, object]:
    return {"first": _order_json(orders.first), "second": _order_json(orders.second)}


def _order_json(order: Order) -> dict[str, object]:
    return {
        "force": order.force.largest,
        "moment": order.moment.largest,
        "with_crank": {"force": abs(order.force.with_crank), "moment": abs(order.moment.with_crank)},
        "against_crank": {"force": abs(order.force.against_crank), "moment": abs(order.moment.against_crank)},
    }
