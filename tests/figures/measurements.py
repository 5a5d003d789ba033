"""Short ways to write what was measured of a small engine; what is left out here says nothing about the figures."""

from collections.abc import Mapping

from conftest import SHOP, Book

from buildbook.figures import Figures
from buildbook.figures.fits import Fit
from buildbook.records.finding import Finding
from figures.ledger import PARTS, pairings

GAUGES = (
    SHOP
    + "  mic: {kind: micrometer, resolution: 0.001 mm, repeatability: 0.001 mm}\n"
    + "  feeler: {kind: feeler_gauge, resolution: 0.01 mm, repeatability: 0.005 mm}\n"
    + "  burette: {kind: burette, resolution: 0.1 mL, repeatability: 0.1 mL}\n"
    + "  wrench: {kind: torque_wrench, resolution: 1 N m, repeatability: 1 N m}\n"
    + "  step_gauge: {kind: micrometer, resolution: 0.001 mm}\n"
    + "  short_mic: {kind: micrometer, capacity: 50 mm, resolution: 0.001 mm, repeatability: 0.001 mm}\n"
    + "  certified_mic: {kind: micrometer, resolution: 0.001 mm, repeatability: 0.001 mm, uncertainty: 0.002 mm}\n"
    + "  bore_gauge: {kind: bore_gauge, resolution: 0.001 mm, repeatability: 0.001 mm, uncertainty: 0.004 mm}\n"
    + "  fine_wrench: {kind: torque_wrench, resolution: 0.01 N m, repeatability: 0.01 N m}\n"
    + "  angle_plate: {kind: other, resolution: 1 deg, repeatability: 1 deg}\n"
)

# Standard uncertainties of one reading: √(d²/12 + s²), d the step and s the repeatability (GUM F.2.2.1 and 4.2.3).
MIC = 0.00104083  # [mm] √(1e-6/12 + 1e-6)
FEELER = 0.00577350  # [mm] √(1e-4/12 + 25e-6) = 0.01/√3
BURETTE = 0.104083  # [cc] √(0.01/12 + 0.01)
WRENCH = 1.04083  # [N m] √(1/12 + 1)
ANGLE_PLATE = 1.04083  # [deg] √(1/12 + 1)

# The same with half of what a certificate states for k = 2: √(d²/12 + s² + (U/2)²).
CERTIFIED_MIC = 0.00144338  # [mm] √(1e-6/12 + 1e-6 + 1e-6)
BORE_GAUGE = 0.00225462  # [mm] √(1e-6/12 + 1e-6 + 4e-6)

UNITS = "length: mm, volume: cc, torque: N m, angle: deg, temperature: degC"

TWIN = "v2_90_common_pin"

# Rod 1 with piston 2, so that a piece's number says nothing about its cylinder.
PAIRED = pairings("rod: R1, piston: P2, pin: N1", "rod: R2, piston: P1, pin: N2")


def clearances(*sessions: str, units: str = UNITS) -> str:
    """clearances.yaml, each session by ava with the micrometer on 2026-10-05 unless it says otherwise."""
    usual = {"taken": "2026-10-05T10:00+01:00", "by": "ava", "with": "mic"}
    lines = []
    for number, session in enumerate(sessions, start=1):
        more = "".join(f", {name}: {value}" for name, value in usual.items() if f"{name}: " not in session)
        name = "" if session.startswith("id: ") else f"id: M{number}, "
        lines.append(f"  - {{{name}{session}{more}}}\n")
    return f"format: 1\nunits: {{{units}}}\nsessions:\n{''.join(lines)}"


def engine(layout: str = TWIN, sizes: str = "bore: 101.8") -> str:
    """engine.yaml with sizes [mm]."""
    lines = "".join(f"{size.strip()}\n" for size in sizes.split(","))
    return f"format: 1\nengine: twin\nlayout: {layout}\nunits: {{length: mm, angle: deg}}\n{lines}"


def build(limits: str = "", more: str = "") -> str:
    """build.yaml with limits [mm]; `more` is further lines."""
    units = "units: {mass: g, length: mm, angle: deg}"
    return f"format: 1\nengine: twin\nbuild: first\nopened: 2026-10-01\n{units}\nlimits: {{{limits}}}\n{more}"


def write(
    book: Book,
    *sessions: str,
    limits: str = "",
    more: str = "",
    layout: str = TWIN,
    sizes: str = "bore: 101.8",
    parts: str = PARTS,
    paired: str | None = None,
    units: str = UNITS,
) -> None:
    """Write a whole book around what was measured."""
    book.write("shop.yaml", GAUGES)
    book.write("engines/twin/engine.yaml", engine(layout, sizes))
    book.write("build.yaml", build(limits, more))
    book.write("parts.yaml", parts)
    if paired is not None:
        book.write("pairings.yaml", paired)
    book.write("clearances.yaml", clearances(*sessions, units=units))


def fits(figures: Figures, kind: str) -> Mapping[str, Fit]:
    """Place → the fit of that kind there."""
    found = figures.fits.of(kind)
    assert len({fit.place for fit in found}) == len(found), "one fit at one place"
    return {fit.place: fit for fit in found}


def missing(figures: Figures, kind: str) -> dict[str, str]:
    """Place → what is lacking for the fit of that kind there."""
    return {each.place: each.lacking for each in figures.fits.missing if each.kind == kind}


def rules_found(figures: Figures) -> list[str]:
    """The rules that the measurements wake."""
    return [finding.rule for finding in figures.fit_findings]


def found(figures: Figures, rule: str) -> Finding:
    """The one finding of that rule."""
    (finding,) = (each for each in figures.fit_findings if each.rule == rule)
    return finding


def place_of(book: Book, file: str, text: str) -> tuple[int, int]:
    """Line and column at which a text begins that is in a file once."""
    content = (book.root / file if "/" in file else book.folder / file).read_text(encoding="utf-8")
    assert content.count(text) == 1, "a finding points at one place"
    before = content[: content.index(text)]
    return before.count("\n") + 1, len(before) - before.rfind("\n")
