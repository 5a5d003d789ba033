"""The real ways to correct the last spin, from what the record says of windows, bits and limits."""

from cmath import phase, rect
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from math import degrees, radians

from buildbook.balance import cutting
from buildbook.balance import plans as planning
from buildbook.balance.holes import AxialHole, CannotCut, RadialHole
from buildbook.figures.balance import DRILL_POINT, PLANES, BalanceFigures, Cut, mm
from buildbook.quantities import fixed
from buildbook.records.finding import Finding, Severity
from buildbook.records.model import Build, Window

WEB = 3.0
"""Metal to keep between one hole and the next [mm]: common practice, no source."""

_ADD_WINDOWS = "add windows to the plane in spins.yaml: windows: [{from: 20, to: 70, depth: 30, width: 28}]"


class NoWay(Exception):
    """There is no plan: the findings say why."""

    def __init__(self, findings: Sequence[Finding]) -> None:
        super().__init__(findings[0].what)
        self.findings = tuple(findings)


def correction_plans(
    balance: BalanceFigures, bits: Sequence[cutting.Bit], leave: float, plug_density: float | None, most_holes: int
) -> list[planning.Plan]:
    """See `balance.plans.plans`; a plane within the shop's own limit is left alone. Raises NoWay.

    Holes keep clear of earlier ones by `WEB`. Only in a plane where there is no such way are they planned regardless
    of them: `too_near` then says of which.
    """
    build = balance.build
    if not balance.spins:
        remedy = "record one: buildbook spin --front 9.2@212 --rear 64@48"
        raise _no_way(build, "no-spin", "there is no spin to correct", "A plan answers a spin.", remedy)
    if balance.pending:
        what = f"{balance.pending[-1].step.id} changed the crankshaft after the last spin"
        why = "A plan for what was there before would take the same metal twice."
        raise _no_way(build, "no-spin", what, why, "spin it again first")
    windows = {plane: [_window(balance, plane, each) for each in build.spins.planes[plane].windows] for plane in PLANES}
    if not any(windows.values()):
        what = "no window says where metal may be taken"
        why = "A hole outside the counterweights goes into a web."
        raise _no_way(build, "no-window", what, why, _ADD_WINDOWS)
    if not bits:
        remedy = "list the shop's bits in shop.yaml (bits: [{diameter: 12, point: 118}]), or give --bit 12"
        raise _no_way(build, "no-bit", "no bit is known to drill with", "A plan is made for real bits.", remedy)
    measured = balance.spins[-1].measured
    limit = build.limits.get("residual")
    bounds = limit.bounds if limit else {}
    within = {
        plane: float(bounds[plane].worth("g")) * balance.plane(plane).radius for plane in PLANES if plane in bounds
    }
    widest = max(bit.diameter for bit in bits)
    free = {
        plane: [part for each in windows[plane] for part in _free(each, plane, widest, balance.cuts)]
        for plane in PLANES
    }

    def planned(where: Mapping[str, Sequence[cutting.Window]]) -> list[planning.Plan]:
        return planning.plans(
            {"front": measured.front, "rear": measured.rear},
            {p: planning.ReadingPlane(balance.plane(p).position, balance.plane(p).radius) for p in PLANES},
            where,
            bits,
            balance.density,
            leave=leave,
            plug_density=plug_density,
            within=within,
            most_holes=most_holes,
            web=WEB,
        )

    try:
        if free != windows:
            for where in (free, *({**free, plane: windows[plane]} for plane in PLANES)):
                with suppress(planning.NoPlan):
                    return planned(where)
        return planned(windows)
    except planning.NoPlan as none:
        raise NoWay([_reason(balance, reason) for reason in none.reasons]) from None
    except CannotCut as error:
        raise _no_way(build, "cannot-cut", error.what, "A plan needs sizes that fit together.", error.remedy) from None


def too_near(balance: BalanceFigures, hole: planning.Hole) -> str | None:
    """The step of the earlier hole or plug that a planned one comes nearer to than `WEB`, if there is one."""
    shape = AxialHole if hole.kind == "plug" else RadialHole
    planned = shape(hole.radius, hole.diameter, hole.depth, hole.point, balance.density)
    return balance.runs_into(Cut("", hole.plane, hole.angle, hole.position, planned), WEB - 1e-6)


def shop_bits(build: Build) -> list[cutting.Bit]:
    """The bits that shop.yaml lists, sizes in mm."""
    return [
        cutting.Bit(mm(bit.diameter), float(bit.point.worth("deg")) if bit.point else DRILL_POINT)
        for bit in build.shop.bits
    ]


def _window(balance: BalanceFigures, plane: str, window: Window) -> cutting.Window:
    """A window in the crankshaft's own frame, where its arc runs the other way if the machine counts backwards."""
    start, end = (degrees(phase(balance.direction(float(each.worth("deg"))))) for each in (window.start, window.end))
    if balance.angles.positive == "against_rotation":
        start, end = end, start
    at = balance.plane(plane)
    return cutting.Window(
        start,
        end,
        mm(window.radius, at.radius),
        mm(window.position, at.position),
        mm(window.depth) if window.depth else None,
        mm(window.width) if window.width else None,
    )


def _free(window: cutting.Window, plane: str, widest: float, cuts: Sequence[Cut]) -> Iterator[cutting.Window]:
    """What earlier holes and plugs leave of a window, where the widest bit [mm] would come too near to them."""
    taken = sorted(
        (cut.angle - cut.half_arc(WEB) - window.start + turn, cut.angle + cut.half_arc(WEB) - window.start + turn)
        for cut in cuts
        if cut.plane == plane and abs(cut.position - window.position) < (cut.shape.diameter + widest) / 2 + WEB
        for turn in (-360, 0, 360)
    )
    arcs, start = [], 0.0
    for first, last in taken:
        if first < window.span and last > 0:
            arcs.append((start, first))
            start = max(start, last)
    arcs.append((start, window.span))
    if window.span > 360 - 1e-9 and len(arcs) > 1:  # all round: the last arc goes on into the first
        arcs = [*arcs[1:-1], (arcs[-1][0], 360 + arcs[0][1])]
    for start, end in arcs:
        if end > start:
            yield replace(window, start=(window.start + start) % 360, end=(window.start + end) % 360)


def _reason(balance: BalanceFigures, reason: planning.Reason) -> Finding:
    said = reason.worded(
        lambda angle: f"{fixed(balance.place(rect(1, radians(angle))), 0)}°", lambda length: f"{fixed(length, 1)} mm"
    )
    plane = balance.build.spins.planes.get(reason.plane)
    remedy = "try another bit (--bit), more holes (--holes), a plug on the light side (--plug 17), or another window"
    remedy = remedy if plane is None or plane.windows else _ADD_WINDOWS
    why = "What cannot be cut cannot correct."
    return _finding(balance.build, "no-plan", f"{reason.plane}: {said}", why, remedy, "warning")


def _no_way(build: Build, rule: str, what: str, why: str, remedy: str) -> NoWay:
    return NoWay([_finding(build, rule, what, why, remedy, "error")])


def _finding(build: Build, rule: str, what: str, why: str, remedy: str, severity: Severity) -> Finding:
    return Finding(severity, rule, build.spins.where, what, why, remedy)
