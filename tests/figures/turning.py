"""Short ways to write spins.yaml: a twin whose one throw stands in the middle between two reading planes."""

from collections.abc import Mapping
from typing import Any

from conftest import SHOP, Book

from buildbook.book.reading import Reader
from buildbook.figures import work_out
from buildbook.figures.corrections import correction_plans, shop_bits
from buildbook.views import balance_json
from figures.ledger import ALL_WEIGHED, PARTS, weighings

WITH_BALANCER = SHOP + "  balancer: {kind: balancing_machine, resolution: 0.1 g, repeatability: 0.12 g}\n"

STROKE = "format: 1\nengine: twin\nlayout: v2_90_common_pin\nunits: {length: mm}\nstroke: 80\n"

# Radii that differ, so that a figure at the wrong plane's radius shows.
PLANES = "{front: {position: -100, radius: 80}, rear: {position: 100, radius: 100}}"

UNITS = "{mass: g, length: mm, angle: deg, speed: rpm}"

# 421.4 + 420.9 + 87.0 go round; 1686.5 go up and down, of which half are carried; 3.0 of oil: 1775.55
BOBWEIGHTS = "{target: 1775.6, set: {1: 1775.6}, taken: 2026-10-05, by: ava, with: scale}"

BITS = "bits: [{diameter: 8 mm, point: 118 deg}, {diameter: 16 mm}, {diameter: 22 mm, point: 135 deg}]\n"

WINDOWS = (
    "{front: {position: -100, radius: 80, windows: [{from: %s, to: %s, depth: 30, width: 25}]},"
    " rear: {position: 100, radius: 100, windows: [{from: %s, to: %s, depth: 32, width: 28}]}}"
)


def spin(front: str, rear: str, more: str = "") -> str:
    """A spin's readings as `9.2@212`."""
    planes = ", ".join(
        f"{plane}: {{amount: {amount}, angle: {angle}}}"
        for plane, (amount, angle) in (("front", front.split("@")), ("rear", rear.split("@")))
    )
    return f"with: balancer, spin: {{{planes}{more}}}"


def spins(*steps: str, units: str = UNITS, planes: str = PLANES, angles: str = "{}", more: str = "") -> str:
    """spins.yaml, its steps numbered S1, S2 … unless they say otherwise, on 2026-10-06 by ava."""
    lines = []
    for number, step in enumerate(steps, start=1):
        own = "" if step.startswith("id: ") else f"id: S{number}, "
        lines.append(f"  - {{{own}taken: 2026-10-06, by: ava, {step}}}\n")
    listed = f"steps:\n{''.join(lines)}" if steps else "steps: []\n"
    return f"format: 1\nunits: {units}\nangles: {angles}\nplanes: {planes}\nbobweights: {BOBWEIGHTS}\n{more}{listed}"


def on_the_machine(book: Book, *steps: str, **said: str) -> Book:
    """The book with everything weighed, bobweights set, and these steps at the balancing machine."""
    book.write("shop.yaml", WITH_BALANCER + BITS)
    book.write("engines/twin/engine.yaml", STROKE)
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("spins.yaml", spins(*steps, **said))
    return book


def story(book: Book) -> dict[str, Any]:
    """What `spins --json` says."""
    return dict(balance_json.spins(book.figures()))


def planned(book: Book, leave: float = 0.05, plug: float | None = None, holes: int = 4) -> list[dict[str, Any]]:
    """What `plan --json` says, with the bits of shop.yaml."""
    build = Reader(book.root).load("twin/first").build
    assert build is not None
    figures = work_out(build)
    return balance_json.plans(figures, correction_plans(figures.balance, shop_bits(build), leave, plug, holes))


def drilled(hole: Mapping[str, Any]) -> str:
    """A planned hole as a step of spins.yaml."""
    return (
        f"drill: {{plane: {hole['plane']}, angle: {hole['angle'] % 360:.9f}, diameter: {hole['diameter']:g},"
        f" depth: {hole['depth']:.3f}, point: {hole['point']:g}}}"
    )
