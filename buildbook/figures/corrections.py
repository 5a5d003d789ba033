"""The real ways to correct the last spin, from what the record says of windows, bits and limits."""

from cmath import phase, rect
from collections.abc import Sequence
from math import degrees, radians

from buildbook.balance import plans as planning
from buildbook.balance.holes import CannotCut
from buildbook.figures.balance import DRILL_POINT, PLANES, BalanceFigures, mm
from buildbook.quantities import fixed
from buildbook.records.finding import Finding, Severity
from buildbook.records.model import Build, Window


class NoWay(Exception):
    """There is no plan: the findings say why."""

    def __init__(self, findings: Sequence[Finding]) -> None:
        super().__init__(findings[0].what)
        self.findings = tuple(findings)


def correction_plans(
    balance: BalanceFigures, bits: Sequence[planning.Bit], leave: float, plug_density: float | None, most_holes: int
) -> list[planning.Plan]:
    """See `balance.plans.plans`; a plane within the shop's own limit is left alone. Raises NoWay."""
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
        remedy = "add windows to the planes in spins.yaml: windows: [{from: 20, to: 70, depth: 30, width: 28}]"
        raise _no_way(build, "no-window", what, "A hole outside the counterweights goes into a web.", remedy)
    if not bits:
        remedy = "list the shop's bits in shop.yaml (bits: [{diameter: 12, point: 118}]), or give --bit 12"
        raise _no_way(build, "no-bit", "no bit is known to drill with", "A plan is made for real bits.", remedy)
    measured = balance.spins[-1].measured
    limit = build.limits.get("residual")
    bounds = limit.bounds if limit else {}
    within = {
        plane: float(bounds[plane].worth("g")) * balance.plane(plane).radius for plane in PLANES if plane in bounds
    }
    try:
        return planning.plans(
            {"front": measured.front, "rear": measured.rear},
            {p: planning.ReadingPlane(balance.plane(p).position, balance.plane(p).radius) for p in PLANES},
            windows,
            bits,
            balance.density,
            leave=leave,
            plug_density=plug_density,
            within=within,
            most_holes=most_holes,
        )
    except planning.NoPlan as none:
        raise NoWay([_reason(balance, reason) for reason in none.reasons]) from None
    except CannotCut as error:
        raise _no_way(build, "cannot-cut", error.what, "A plan needs sizes that fit together.", error.remedy) from None


def shop_bits(build: Build) -> list[planning.Bit]:
    """The bits that shop.yaml lists, sizes in mm."""
    return [
        planning.Bit(mm(bit.diameter), float(bit.point.worth("deg")) if bit.point else DRILL_POINT)
        for bit in build.shop.bits
    ]


def _window(balance: BalanceFigures, plane: str, window: Window) -> planning.Window:
    """A window in the crankshaft's own frame, where its arc runs the other way if the machine counts backwards."""
    start, end = (degrees(phase(balance.direction(float(each.worth("deg"))))) for each in (window.start, window.end))
    if balance.angles.positive == "against_rotation":
        start, end = end, start
    at = balance.plane(plane)
    return planning.Window(
        start,
        end,
        mm(window.radius, at.radius),
        mm(window.position, at.position),
        mm(window.depth) if window.depth else None,
        mm(window.width) if window.width else None,
    )


def _reason(balance: BalanceFigures, reason: planning.Reason) -> Finding:
    said = reason.worded(
        lambda angle: f"{fixed(balance.place(rect(1, radians(angle))), 0)}°", lambda length: f"{fixed(length, 1)} mm"
    )
    remedy = "try another bit (--bit), more holes (--holes), a plug on the light side (--plug 17), or another window"
    why = "What cannot be cut cannot correct."
    return _finding(balance.build, "no-plan", f"{reason.plane}: {said}", why, remedy, "warning")


def _no_way(build: Build, rule: str, what: str, why: str, remedy: str) -> NoWay:
    return NoWay([_finding(build, rule, what, why, remedy, "error")])


def _finding(build: Build, rule: str, what: str, why: str, remedy: str, severity: Severity) -> Finding:
    return Finding(severity, rule, build.spins.where, what, why, remedy)
