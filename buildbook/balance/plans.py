"""Plans: the real ways to take a wanted unbalance away, with the bits and the room there are.

Angles are in degrees in the crankshaft's own frame, positive with rotation; lengths and positions (rearward along the
crankshaft) in mm; unbalance a complex number in g·mm, amount × radius × e^(iφ), pointing to the heavy side. Each hole
counts by its exact geometry, and its unbalance is carried to both reading planes by the lever rule.
"""

from cmath import phase, rect
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from itertools import product
from math import degrees, hypot, inf, isfinite, radians
from typing import ClassVar, Literal, NamedTuple

from buildbook.balance.cutting import (
    Bit,
    Cannot,
    Drilling,
    Plugging,
    Row,
    Shop,
    Tool,
    Window,
    counted,
    number_words,
    row_of,
    step_up,
)
from buildbook.balance.holes import CannotCut, Estimate

_NEAR_END = 30.0  # [deg] how far inside its window a heavy side may lie and still be shared with the next window
_ALIKE = 0.01  # plans rank alike if what remains is the same in steps of this share of the unbalance


@dataclass(frozen=True, slots=True)
class ReadingPlane:
    """Where a reading is taken as acting: position and radius [mm]."""

    position: float
    radius: float


@dataclass(frozen=True, slots=True)
class Hole:
    """One hole to drill, or one plug to fit.

    `depth` [mm] is at full diameter; for a plug it is the plug's length along the crankshaft. `radius` [mm] is the
    rim's; for a plug, that of its axis. `weight` [g] is what a hole takes out, or the crankshaft gains by a plug.
    `unbalance` [g·mm] is what is taken from the heavy side either way. `simple` is the simple estimate of the same
    weight, and of the unbalance's size. `share_of_room` is the depth over the deepest there is room for.
    """

    kind: Literal["hole", "plug"]
    plane: str
    angle: float
    diameter: float
    point: float
    depth: float
    radius: float
    position: float
    weight: float
    unbalance: complex
    simple: Estimate
    share_of_room: float


@dataclass(frozen=True, slots=True)
class Plan:
    """A way to do it: the holes, in plain words the way of each plane that gets any, and what remains [g·mm]."""

    holes: tuple[Hole, ...]
    ways: Mapping[str, str]
    remains: Mapping[str, complex]


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a plane has no plan: a sentence with its angles [deg] and lengths [mm] left open, and their values."""

    plane: str
    sentence: str
    angles: Mapping[str, float] = field(default_factory=dict)
    lengths: Mapping[str, float] = field(default_factory=dict)

    def worded(self, angle: Callable[[float], str], length: Callable[[float], str]) -> str:
        """The sentence, with angles and lengths put the way the reader counts them."""
        return self.sentence.format(
            **{name: angle(value) for name, value in self.angles.items()},
            **{name: length(value) for name, value in self.lengths.items()},
        )

    def __str__(self) -> str:
        return f"{self.plane}: {self.worded(lambda angle: f'{angle:.4g}°', lambda length: f'{length:.3g} mm')}"


class NoPlan(Exception):
    """Nothing that could be cut does it; `reasons` say why."""

    def __init__(self, reasons: Sequence[Reason]) -> None:
        super().__init__("; ".join(map(str, reasons)))
        self.reasons = tuple(reasons)


def plans(
    unbalance: Mapping[str, complex],
    planes: Mapping[str, ReadingPlane],
    windows: Mapping[str, Sequence[Window]],
    bits: Sequence[Bit],
    density: float,
    *,
    leave: float = 0.05,
    plug_density: float | None = None,
    within: Mapping[str, float] | None = None,
    most_holes: int = 4,
    most_plans: int = 12,
    web: float = 3.0,
    step: float = 0.1,
) -> list[Plan]:
    """The ways to take `unbalance` [g·mm] from two reading planes, best first, leaving the share `leave` on purpose.

    Each plane is corrected in its own windows: by one hole, by up to `most_holes` equal ones spread about the heavy
    side, by holes at the near ends of the neighbouring windows either side of it, or, where `plug_density` [g/cm³] is
    given, by axial plugs of a bit's diameter on the light side, closed to the rim by `web` [mm] and their middles at
    the window's position. At least `web` [mm] of metal stays between the holes of a plane. Depths are rounded down to
    `step` [mm], for metal does not go back.

    A plane is left alone when its unbalance is no more than `within` says [g·mm], or less than any bit would take.
    Best is what leaves least (the worse plane, as weight at its radius, to the nearest 1 % of the largest unbalance),
    then fewest holes, then fewest plugs, then the least share of the depth there is room for. Bits are mixed only
    where one bit cannot do it. Raises NoPlan with reasons, and CannotCut for input that does not hold together.
    """
    _check(unbalance, planes, windows, bits, density, leave, plug_density, most_holes, web, step)
    shop = Shop(tuple(bits), density, plug_density, most_holes, web, step)
    job = _Job(unbalance, planes, leave)
    singles = {plane: _singles(plane, windows.get(plane, ()), shop) for plane in planes}
    splits = {plane: _splits(plane, windows.get(plane, ()), shop) for plane in planes}
    allowed = {plane: (within or {}).get(plane, 0.0) for plane in planes}
    alone = [
        plane
        for plane in planes
        if abs(unbalance[plane]) <= allowed[plane] or abs(job.wanted[plane]) < _least(windows.get(plane, ()), shop)
    ]
    if len(alone) == len(planes):
        return [Plan((), dict.fromkeys(planes, _Alone.way), job.unbalance)]

    why = _Why()
    one_sided: list[_Found] = []
    if alone:
        some = {plane: [_Alone(plane)] if plane in alone else singles[plane] for plane in planes}
        one_sided = [
            each for each in _work_out(job, some, splits, why) if job.worst(each.remains) < job.worst(unbalance)
        ]
    found = (
        [
            each
            for each in one_sided
            if all(abs(each.remains[plane]) <= max(allowed[plane], abs(unbalance[plane])) for plane in alone)
        ]
        or list(_work_out(job, singles, splits, why))
        or one_sided
    )
    if not found:
        raise NoPlan(why.reasons([plane for plane in planes if plane not in alone], windows))
    return [_plan(each, shop) for each in _best(found, job)[:most_plans]]


class _Job:
    """What is wanted at both planes, and how a correction anywhere between or beyond them acts there."""

    def __init__(self, unbalance: Mapping[str, complex], planes: Mapping[str, ReadingPlane], leave: float) -> None:
        self.unbalance = {plane: unbalance[plane] for plane in planes}
        self.planes = planes
        self.wanted = {plane: (1 - leave) * unbalance[plane] for plane in planes}

    def levers(self, position: float) -> tuple[float, float]:
        """The shares of a correction at `position` that act at the first and at the second plane: lever rule."""
        first, second = (plane.position for plane in self.planes.values())
        share = (position - first) / (second - first)
        return 1 - share, share

    def solve(self, columns: Sequence["_Column"]) -> list[float] | None:
        """How much of each column makes up what is wanted [g·mm]; None where the columns do the same thing.

        Two planes ask for four numbers. With four columns the answer is exact; with two, because one plane is left
        alone, it is the least squares of what remains as weight at the planes' radii.
        """
        radii = [plane.radius for plane in self.planes.values()]
        rows = [
            [share / radius * direction for share, radius in zip(self.levers(position), radii, strict=True)]
            for position, direction in columns
        ]
        aim = [wanted / radius for wanted, radius in zip(self.wanted.values(), radii, strict=True)]
        return _solve(
            [[sum((a.conjugate() * b).real for a, b in zip(one, two, strict=True)) for two in rows] for one in rows],
            [sum((a.conjugate() * b).real for a, b in zip(one, aim, strict=True)) for one in rows],
        )

    def remains(self, corrections: Iterable[tuple[float, complex]]) -> dict[str, complex]:
        """What is left at each plane [g·mm] after corrections, each a position and what it takes away there."""
        left = list(self.unbalance.values())
        for position, taken in corrections:
            left = [before - share * taken for before, share in zip(left, self.levers(position), strict=True)]
        return dict(zip(self.planes, left, strict=True))

    def worst(self, remains: Mapping[str, complex]) -> float:
        """The worse plane, as weight at its radius [g]."""
        return max(abs(remains[name]) / plane.radius for name, plane in self.planes.items())


# ---- the places of one plane: a window under the heavy side, a window on the light side, or two windows


_Column = tuple[float, complex]  # a position [mm], and the direction in which something is taken away there


class _Choice(NamedTuple):
    """One way for one plane: in plain words, and its rows with the angle [deg] of each row's middle."""

    plane: str
    way: str
    rows: tuple[tuple[Row, float], ...]


@dataclass(frozen=True, slots=True)
class _Alone:
    plane: str

    way: ClassVar[str] = "left alone"
    columns: ClassVar[tuple[_Column, ...]] = ()

    def plausible(self, amounts: Sequence[float]) -> bool:
        return True

    def settled(self, amounts: Sequence[float]) -> "_Alone":
        return self

    def choices(self, amounts: Sequence[float], why: "_Why") -> Iterator[_Choice]:
        yield _Choice(self.plane, self.way, ())


@dataclass(frozen=True, slots=True)
class _Single:
    """One window that takes the whole correction of its plane, whatever its angle turns out to be."""

    plane: str
    window: Window
    tools: tuple[Tool, ...]
    most_holes: int

    @property
    def columns(self) -> tuple[_Column, ...]:
        return (self.window.position, 1), (self.window.position, 1j)

    @property
    def plug(self) -> bool:
        return self.tools[0].kind == "plug"

    def angle(self, amounts: Sequence[float]) -> float:
        """Where the middle of the row comes to stand [deg]: the heavy side, or the light side for plugs."""
        return (degrees(phase(complex(*amounts))) + (180 if self.plug else 0)) % 360

    def plausible(self, amounts: Sequence[float]) -> bool:
        return self.window.holds(self.angle(amounts), 0.0)

    def settled(self, amounts: Sequence[float]) -> "_Single":
        return self

    def choices(self, amounts: Sequence[float], why: "_Why") -> Iterator[_Choice]:
        amount, angle = hypot(*amounts), self.angle(amounts)
        for tool, count in product(self.tools, range(1, self.most_holes + 1)):
            try:
                row = row_of(tool, amount, count)
                if not self.window.holds(angle, row.half_arc):
                    holes = counted(count, tool.kind)
                    raise Cannot(f"{holes} would reach past the end of the window", tool.bit)
            except Cannot as reason:
                why.cannot(self.plane, reason)
                continue
            if self.plug:
                way = (
                    "plug of heavy metal" if count == 1 else f"{number_words(count)} plugs of heavy metal side by side"
                )
            else:
                way = "one hole" if count == 1 else f"{number_words(count)} holes side by side"
            yield _Choice(self.plane, way, ((row, angle),))


@dataclass(frozen=True, slots=True)
class _Split:
    """The near ends of two windows either side of the heavy side: `insets` [deg] from `first.end`, `second.start`."""

    plane: str
    first: Window
    second: Window
    bit: Bit
    count: int
    shop: Shop
    insets: tuple[float, float]

    @property
    def middles(self) -> tuple[float, float]:
        return self.first.end - self.insets[0], self.second.start + self.insets[1]

    @property
    def columns(self) -> tuple[_Column, ...]:
        return tuple(
            (window.position, rect(1, radians(middle)))
            for window, middle in zip((self.first, self.second), self.middles, strict=True)
        )

    def plausible(self, amounts: Sequence[float]) -> bool:
        return min(amounts) > 0 and 0 < (self.middles[1] - self.middles[0]) % 360 < 180

    def may_share(self, angle: float) -> bool:
        """Whether a heavy side at `angle` [deg] lies between the windows, or in one but near its end."""
        first, second = (min(window.span / 2, _NEAR_END) for window in (self.first, self.second))
        gap = (self.second.start - self.first.end) % 360
        return (angle - self.first.end + first) % 360 < gap + first + second

    def _rows(self, amounts: Sequence[float]) -> tuple[Row, Row]:
        first, second = (
            row_of(Drilling(window, self.bit, self.shop), amount, self.count)
            for window, amount in zip((self.first, self.second), amounts, strict=True)
        )
        return first, second

    def settled(self, amounts: Sequence[float]) -> "_Split":
        """Moved in from the ends of the windows until both rows, as deep as they must go, stand clear."""
        rows = self._rows(amounts)
        insets = [max(inset, step_up(row.half_arc)) for inset, row in zip(self.insets, rows, strict=True)]
        first, second = rows
        if abs(self.first.position - self.second.position) < first.tool.bit.diameter + self.shop.web:
            deepest = max(rows, key=lambda row: row.tool.spacing(row.depth))
            between = (self.second.start + insets[1] - self.first.end + insets[0]) % 360
            between -= (self.count - 1) / 2 * (first.spacing + second.spacing)
            short = deepest.tool.spacing(deepest.depth) - between
            if short > 180:
                raise Cannot("{bit} holes in two windows would run into each other", first.tool.bit)
            if short > 0:
                insets = [inset + step_up(short / 2) for inset in insets]
        for inset, row, window in zip(insets, rows, (self.first, self.second), strict=True):
            if inset + row.half_arc > window.span:
                raise Cannot("a {bit} hole does not fit into the window", row.tool.bit)
        return replace(self, insets=(insets[0], insets[1]))

    def choices(self, amounts: Sequence[float], why: "_Why") -> Iterator[_Choice]:
        holes = f"{number_words(self.count)} hole{'s' if self.count > 1 else ''}"
        yield _Choice(
            self.plane,
            f"{holes} to either side",
            tuple(zip(self._rows(amounts), self.middles, strict=True)),
        )


_Site = _Alone | _Single | _Split


def _singles(plane: str, windows: Sequence[Window], shop: Shop) -> list[_Single]:
    singles = []
    for window in windows:
        drills = tuple(Drilling(window, bit, shop) for bit in shop.bits)
        singles.append(_Single(plane, window, drills, shop.most_holes))
        if shop.plug_density is not None:
            plugs = tuple(Plugging(window, bit, shop, shop.plug_density) for bit in shop.bits)
            singles.append(_Single(plane, window, plugs, shop.most_holes))
    return singles


def _splits(plane: str, windows: Sequence[Window], shop: Shop) -> list[_Split]:
    """Every two neighbouring windows, or the two ends of one that goes nearly round, with every bit; no deeper than the
    mouth of a hole so far."""
    splits = []
    for first, second in product(windows, repeat=2):
        if first is second and first.span == 360:
            continue  # it has no ends
        gap = (second.start - first.end) % 360
        if any(0 < (other.start - first.end) % 360 < gap for other in windows if other is not second):
            continue
        for bit, count in product(shop.bits, range(1, shop.most_holes // 2 + 1)):
            one, other_end = (step_up(Drilling(each, bit, shop).half_arc(0)) for each in (first, second))
            splits.append(_Split(plane, first, second, bit, count, shop, (one, other_end)))
    return splits


# ---- putting both planes together


class _Found(NamedTuple):
    choices: tuple[_Choice, ...]
    remains: Mapping[str, complex]

    @property
    def rows(self) -> list[Row]:
        return [row for choice in self.choices for row, _ in choice.rows]


class _Why:
    """What was tried in vain. Of attempts that differ in the number of holes only the nearest miss is told."""

    def __init__(self) -> None:
        self._outside: dict[tuple[str, bool], float] = {}
        self._inside: set[tuple[str, bool]] = set()
        self._vain: dict[tuple[str, Bit], tuple[float, Reason]] = {}
        self.same_place = False

    def side(self, plane: str, plug: bool, angle: float, inside: bool) -> None:
        if inside:
            self._inside.add((plane, plug))
        else:
            self._outside.setdefault((plane, plug), angle)

    def cannot(self, plane: str, cannot: Cannot) -> None:
        missed_by = cannot.lengths.get("depth", inf) - cannot.lengths.get("limit", 0.0)
        before = self._vain.get((plane, cannot.bit))
        if before is None or missed_by < before[0]:
            self._vain[plane, cannot.bit] = missed_by, Reason(plane, cannot.sentence, {}, cannot.lengths)

    def reasons(self, planes: Iterable[str], windows: Mapping[str, Sequence[Window]]) -> list[Reason]:
        reasons: list[Reason] = []
        for plane in planes:
            if not windows.get(plane):
                reasons.append(Reason(plane, "there is no window to take metal from"))
            for (where, plug), angle in self._outside.items():
                if where == plane and (where, plug) not in self._inside:
                    side = "light" if plug else "heavy"
                    reasons.append(Reason(plane, f"the {side} side at {{angle}} lies in no window", {"angle": angle}))
            reasons.extend(reason for (where, _), (_, reason) in self._vain.items() if where == plane)
        if self.same_place:
            reasons.append(Reason("both planes", "some of their windows stand at the same place along the crankshaft"))
        return reasons or [Reason("both planes", "no window of one goes with a window of the other")]


def _work_out(
    job: _Job,
    singles: Mapping[str, Sequence[_Alone | _Single]],
    splits: Mapping[str, Sequence[_Split]],
    why: _Why,
) -> Iterator[_Found]:
    """Every way that does it: one place per plane, both planes solved together."""
    heavy: dict[str, list[float]] = {plane: [] for plane in singles}
    for pair in product(*singles.values()):
        for site, part in zip(pair, _amounts(job, pair, why) or (), strict=False):
            if isinstance(site, _Single):
                why.side(site.plane, site.plug, site.angle(part), site.plausible(part))
                heavy[site.plane].append(site.angle(part) - (180 if site.plug else 0))
    sites: list[list[_Site]] = [
        [*singles[plane], *(split for split in splits[plane] if any(map(split.may_share, heavy[plane])))]
        for plane in singles
    ]
    for chosen in product(*sites):
        yield from _settle(job, chosen, why)


def _amounts(job: _Job, pair: Sequence[_Site], why: _Why) -> list[list[float]] | None:
    amounts = job.solve([column for site in pair for column in site.columns])
    if amounts is None:
        why.same_place = True
        return None
    parts = []
    for site in pair:
        parts.append(amounts[: len(site.columns)])
        amounts = amounts[len(site.columns) :]
    return parts


def _settle(job: _Job, pair: tuple[_Site, ...], why: _Why) -> Iterator[_Found]:
    """Solve, move the rows of a split in as far as their depth asks, and solve again until they stay."""
    while True:
        amounts = _amounts(job, pair, why)
        if amounts is None or not all(site.plausible(part) for site, part in zip(pair, amounts, strict=True)):
            return
        settled: list[_Site] = []
        for site, part in zip(pair, amounts, strict=True):
            try:
                settled.append(site.settled(part))
            except Cannot as reason:
                why.cannot(site.plane, reason)
                return
        if tuple(settled) == pair:
            break
        pair = tuple(settled)
    for choices in product(*(list(site.choices(part, why)) for site, part in zip(pair, amounts, strict=True))):
        yield _Found(
            choices,
            job.remains(
                (row.tool.window.position, row.taken(middle)) for choice in choices for row, middle in choice.rows
            ),
        )


def _best(found: Iterable[_Found], job: _Job) -> list[_Found]:
    """Best first; of each combination of ways one for each bit, or the best mixture where no one bit does it."""
    alike = _ALIKE * job.worst(job.unbalance)

    def rank(each: _Found) -> tuple[float, ...]:
        rows = each.rows
        return (
            round(job.worst(each.remains) / alike),
            sum(row.count for row in rows),
            sum(row.count for row in rows if row.tool.kind == "plug"),
            round(max(row.depth / row.tool.room for row in rows), 9),
            job.worst(each.remains),
        )

    kept: dict[tuple[str, ...], dict[Bit | None, _Found]] = {}
    for each in sorted(found, key=rank):
        bits = {row.tool.bit for row in each.rows}
        by_bit = kept.setdefault(tuple(choice.way for choice in each.choices), {})
        by_bit.setdefault(bits.pop() if len(bits) == 1 else None, each)
    best = [each for by_bit in kept.values() for bit, each in by_bit.items() if bit is not None or len(by_bit) == 1]
    return sorted(best, key=rank)


def _plan(found: _Found, shop: Shop) -> Plan:
    return Plan(
        holes=tuple(
            _hole(row, choice.plane, angle)
            for choice in found.choices
            for row, middle in choice.rows
            for angle in row.angles(middle)
        ),
        ways={choice.plane: choice.way for choice in found.choices},
        remains=found.remains,
    )


def _hole(row: Row, plane: str, angle: float) -> Hole:
    tool, hole = row.tool, row.tool.hole(row.depth)
    return Hole(
        kind=tool.kind,
        plane=plane,
        angle=angle % 360,
        diameter=tool.bit.diameter,
        point=tool.bit.point,
        depth=row.depth,
        radius=hole.radius,
        position=tool.window.position,
        weight=hole.weight,
        unbalance=rect(hole.unbalance if tool.kind == "hole" else -hole.unbalance, radians(angle)),
        simple=hole.simple,
        share_of_room=row.depth / tool.room,
    )


# ---- small things


def _least(windows: Sequence[Window], shop: Shop) -> float:
    """The least that any bit takes by a hole worth drilling [g·mm]; nothing where no bit fits."""
    least = inf
    for window, bit in product(windows, shop.bits):
        drilling = Drilling(window, bit, shop)
        with suppress(Cannot):
            drilling.check_fit()
            least = min(least, drilling.taken(shop.step))
    return least if least < inf else 0.0


def _solve(matrix: list[list[float]], aim: list[float]) -> list[float] | None:
    """The solution of a small system of linear equations by elimination; None where it has no single one."""
    size = len(aim)
    rows = [[*row, value] for row, value in zip(matrix, aim, strict=True)]
    smallest = 1e-12 * max(abs(matrix[k][k]) for k in range(size))
    for k in range(size):
        pivot = max(range(k, size), key=lambda i: abs(rows[i][k]))
        rows[k], rows[pivot] = rows[pivot], rows[k]
        if abs(rows[k][k]) <= smallest:
            return None
        for i in range(size):
            if i != k:
                factor = rows[i][k] / rows[k][k]
                rows[i] = [a - factor * b for a, b in zip(rows[i], rows[k], strict=True)]
    return [rows[k][-1] / rows[k][k] for k in range(size)]


def _check(
    unbalance: Mapping[str, complex],
    planes: Mapping[str, ReadingPlane],
    windows: Mapping[str, Sequence[Window]],
    bits: Sequence[Bit],
    density: float,
    leave: float,
    plug_density: float | None,
    most_holes: int,
    web: float,
    step: float,
) -> None:
    if len(planes) != 2 or len({plane.position for plane in planes.values()}) != 2:
        raise CannotCut("a plan needs two reading planes at different places", "give both planes' positions")
    if set(unbalance) != set(planes):
        raise CannotCut(
            f"the unbalance is given for {', '.join(unbalance) or 'no plane'}, the planes are {', '.join(planes)}",
            "give the unbalance of both planes",
        )
    for plane, amount in unbalance.items():
        if not isfinite(abs(amount)):
            raise CannotCut(f"the unbalance of {plane} is {amount:g}", "give an amount and an angle")
    if unknown := set(windows) - set(planes):
        raise CannotCut(f"windows in a plane {sorted(unknown)[0]!r} that is not read", "name one of the two planes")
    for plane, reading in planes.items():
        _positive(reading.radius, f"the radius of {plane}", "give the radius that readings of this plane act at")
    for plane, arcs in windows.items():
        for window in arcs:
            if window.start == window.end:
                raise CannotCut(f"a window of {plane} starts where it ends", "give the arc, or 0 to 360 for all round")
            _positive(window.radius, f"the rim's radius in a window of {plane}", "give it from the crank axis")
            for value, name in ((window.depth, "depth limit"), (window.width, "width")):
                if value is not None:
                    _positive(value, f"the {name} in a window of {plane}", "give what there is, or leave it out")
    if not bits:
        raise CannotCut("there is no bit to drill with", "give the diameter of at least one bit")
    for bit in bits:
        _positive(bit.diameter, "the diameter of a bit", "give the bit's diameter")
        if not 0 < bit.point <= 180:
            raise CannotCut(f"a drill point of {bit.point:g}° is not between 0 and 180", "give its included angle")
    _positive(density, "the density", "give the crankshaft metal's density in g/cm³")
    if plug_density is not None and not plug_density > density:
        raise CannotCut(
            f"a plug of {plug_density:g} g/cm³ is no heavier than the crankshaft's {density:g} g/cm³",
            "give the density of the heavy metal, or leave plugs out",
        )
    if not 0 <= leave < 1:
        raise CannotCut(f"a share of {leave:g} to leave is not from 0 to below 1", "give 0.05 for 5 %")
    if most_holes < 1:
        raise CannotCut(f"at most {most_holes} holes is no hole", "allow at least one")
    _positive(step, "the step of depths", "give how finely a depth can be set")
    if not web >= 0:
        raise CannotCut(f"a web of {web:g} mm between holes is below zero", "give the metal to keep between holes")


def _positive(value: float, name: str, remedy: str) -> None:
    if not (isfinite(value) and value > 0):
        raise CannotCut(f"{name} is {value:g}, not above zero", remedy)
