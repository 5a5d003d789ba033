"""Every clearance, gap and form of a build against its limit, with the measurements that it came from."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import hypot
from typing import TYPE_CHECKING, NamedTuple

from buildbook.figures.measured import (
    Came,
    Measured,
    Size,
    apart,
    between,
    came,
    fitted_places,
    uncertainty_of_mean,
    values_of,
)
from buildbook.fits import sizes
from buildbook.fits.decision import COVERAGE, Estimate, Verdict, decide
from buildbook.quantities import UNITS, Quantity, fixed, in_numbered_order
from buildbook.records.finding import Where
from buildbook.records.model import MEASUREMENT_KINDS, Build, Limit

if TYPE_CHECKING:
    from buildbook.figures import Figures


_Taper = Callable[[Sequence[sizes.Section]], Fraction | None]


class FitKind(NamedTuple):
    """A kind of fit: its name in words, the limit of build.yaml it is held to, and what its figure is.

    `needs` are the kinds of measurement it is worked out of; with `direct` it is read off one of them as it stands.
    """

    title: str
    limit: str
    needs: tuple[str, ...]
    unit: str = "mm"


# In the order of the job. A limit under the kind's own name in build.yaml goes before the shared one named here.
FIT_KINDS: dict[str, FitKind] = {
    "main_clearance": FitKind("main bearing clearance", "main_clearance", ("main_bore", "main_journal")),
    "rod_clearance": FitKind("rod bearing clearance", "rod_clearance", ("rod_bore", "rod_journal")),
    "cam_clearance": FitKind("cam bearing clearance", "cam_clearance", ("cam_bore", "cam_journal")),
    "main_journal_taper": FitKind("main journal taper", "journal_taper", ("main_journal",)),
    "main_journal_out_of_round": FitKind("main journal out-of-round", "journal_out_of_round", ("main_journal",)),
    "rod_journal_taper": FitKind("rod journal taper", "journal_taper", ("rod_journal",)),
    "rod_journal_out_of_round": FitKind("rod journal out-of-round", "journal_out_of_round", ("rod_journal",)),
    "cam_journal_taper": FitKind("cam journal taper", "journal_taper", ("cam_journal",)),
    "cam_journal_out_of_round": FitKind("cam journal out-of-round", "journal_out_of_round", ("cam_journal",)),
    "main_bore_taper": FitKind("main bore taper", "main_bore_taper", ("main_bore",)),
    "main_bore_out_of_round": FitKind("main bore out-of-round", "main_bore_out_of_round", ("main_bore",)),
    "rod_bore_taper": FitKind("rod bore taper", "rod_bore_taper", ("rod_bore",)),
    "rod_bore_out_of_round": FitKind("rod bore out-of-round", "rod_bore_out_of_round", ("rod_bore",)),
    "cam_bore_taper": FitKind("cam bore taper", "cam_bore_taper", ("cam_bore",)),
    "cam_bore_out_of_round": FitKind("cam bore out-of-round", "cam_bore_out_of_round", ("cam_bore",)),
    "rod_side": FitKind("rod side clearance", "rod_side", ("rod_side",)),
    "crankshaft_end_play": FitKind("crankshaft end play", "crankshaft_end_play", ("crankshaft_end_play",)),
    "camshaft_end_play": FitKind("camshaft end play", "camshaft_end_play", ("camshaft_end_play",)),
    "piston_clearance": FitKind("piston clearance", "piston_clearance", ("cylinder_bore", "piston_skirt")),
    "bore_taper": FitKind("bore taper", "bore_taper", ("cylinder_bore",)),
    "bore_out_of_round": FitKind("bore out-of-round", "bore_out_of_round", ("cylinder_bore",)),
    "pin_in_piston": FitKind("pin in piston", "pin_in_piston", ("piston_pin_bore", "pin_diameter")),
    "pin_in_rod": FitKind("pin in rod", "pin_in_rod", ("rod_pin_bore", "pin_diameter")),
    "top_ring_gap": FitKind("top ring gap", "top_ring_gap", ("top_ring_gap",)),
    "second_ring_gap": FitKind("second ring gap", "second_ring_gap", ("second_ring_gap",)),
    "oil_rail_gap": FitKind("oil rail gap", "oil_rail_gap", ("oil_rail_gap",)),
    "top_ring_side": FitKind("top ring side clearance", "top_ring_side", ("top_ring_side",)),
    "second_ring_side": FitKind("second ring side clearance", "second_ring_side", ("second_ring_side",)),
    "oil_ring_side": FitKind("oil ring side clearance", "oil_ring_side", ("oil_ring_side",)),
    "deck_height": FitKind("deck height", "deck_height", ("deck_height",)),
    "quench": FitKind("quench", "quench", ("deck_height",)),
    "intake_valve_to_piston": FitKind("intake valve to piston", "intake_valve_to_piston", ("valve_to_piston",)),
    "exhaust_valve_to_piston": FitKind("exhaust valve to piston", "exhaust_valve_to_piston", ("valve_to_piston",)),
    "compression_ratio": FitKind("compression ratio", "compression_ratio", ("chamber_volume",), ""),
    "compression_spread": FitKind("compression spread", "compression_spread", ("chamber_volume",), ""),
    "rod_bolt_stretch": FitKind("rod bolt stretch", "rod_bolt_stretch", ("fastener_stretch",)),
    "fastener_stretch": FitKind("fastener stretch", "fastener_stretch", ("fastener_stretch",)),
    "fastener_torque": FitKind("fastener torque", "fastener_torque", ("fastener_torque",), "N m"),
    "fastener_angle": FitKind("fastener angle", "fastener_angle", ("fastener_angle",), "deg"),
}


class Practice(NamedTuple):
    """A rule of thumb of the trade: bounds [mm], or for each mm of diameter. No standard and no maker says so."""

    said: str
    least: Fraction | None
    most: Fraction | None
    per_diameter: bool = False


# Common practice, no source, but for the ring gaps: a trade magazine of January 2019 had those. For pistons there is
# none that would be safe: alloy and use decide.
COMMON_PRACTICE: dict[str, Practice] = {
    **dict.fromkeys(
        ("main_clearance", "rod_clearance"),
        Practice("0.00075 to 0.0010 of the journal", Fraction("0.00075"), Fraction("0.0010"), True),
    ),
    "top_ring_gap": Practice("0.0045 of the bore", Fraction("0.0045"), None, True),
    "second_ring_gap": Practice("0.0050 of the bore", Fraction("0.0050"), None, True),
    **dict.fromkeys(
        [f"{part}_journal_{form}" for part in ("main", "rod", "cam") for form in ("taper", "out_of_round")],
        Practice("0.0005 in", None, Fraction("0.0127")),
    ),
    **dict.fromkeys(("bore_taper", "bore_out_of_round"), Practice("0.001 in", None, Fraction("0.0254"))),
    "crankshaft_end_play": Practice("0.004 to 0.010 in", Fraction("0.1016"), Fraction("0.254")),
    "oil_rail_gap": Practice("0.015 in", Fraction("0.381"), None),
    "intake_valve_to_piston": Practice("0.080 in", Fraction("2.032"), None),
    "exhaust_valve_to_piston": Practice("0.100 in", Fraction("2.54"), None),
}


# How a valve may be named in what was measured of it, and which it is.
VALVES = {"intake": "intake", "inlet": "intake", "exhaust": "exhaust"}


def valve_of(name: str) -> str | None:
    """Which valve a reading is of, `intake` or `exhaust`: of `intake_2` too."""
    return next((valve for word, valve in VALVES.items() if word in name), None)


def tightened_within(asked: Fraction) -> Fraction:
    """How far a tightening [N m] may be from what was asked, as a share of it: what ISO 6789-1:2017 allows a torque
    tool to be off, 4 %, and 6 % up to 10 N m (read in a tool's manual)."""
    return Fraction(4 if asked > 10 else 6, 100)


# The same for an angle or a stretch: common practice, no source.
ASKED_WITHIN = Fraction(4, 100)


RINGS = ("top_ring_gap", "second_ring_gap", "oil_rail_gap")
TIGHTENINGS = ("fastener_torque", "fastener_angle")
FASTENERS = (*TIGHTENINGS, "rod_bolt_stretch", "fastener_stretch")
_BEARINGS = ("main_clearance", "rod_clearance", "cam_clearance")


class Bounds(NamedTuple):
    """What a figure is held to, in its own unit, and who says so; `practice` marks a rule of thumb that nobody set."""

    least: Fraction | None = None
    most: Fraction | None = None
    source: str | None = None
    practice: bool = False
    where: Where | None = None

    @property
    def ends(self) -> tuple[float | None, float | None]:
        """Both bounds as floats, for a picture."""
        return None if self.least is None else float(self.least), None if self.most is None else float(self.most)


@dataclass(frozen=True, slots=True)
class Fit:
    """One clearance, gap or form at one place, in mm (or in the unit of its kind).

    `value` is at 20 °C and at the tightest place; `mean` is what an upper limit is held against where the fit varies
    along its length, and `as_read` what `value` would be without the correction to 20 °C.
    """

    kind: str
    place: str
    value: Fraction
    as_read: Fraction
    uncertainty: float  # standard uncertainty of `value`
    mean: Estimate | None
    bounds: Bounds
    verdict: Verdict
    came_from: tuple[Came, ...]
    decimals: int
    diameter: Fraction | None = None  # of the journal or bore, for the share per unit of diameter

    @property
    def title(self) -> str:
        return FIT_KINDS[self.kind].title

    @property
    def estimate(self) -> Estimate:
        return Estimate(float(self.value), self.uncertainty)

    @property
    def reach(self) -> tuple[float, float]:
        """From value − U to value + U."""
        return float(self.value) - COVERAGE * self.uncertainty, float(self.value) + COVERAGE * self.uncertainty

    @property
    def per_mm(self) -> Fraction | None:
        """The clearance for each millimetre of diameter: a plain ratio, the same in inches."""
        return self.value / self.diameter if self.diameter else None

    @property
    def decided_by_mean(self) -> bool:
        """Whether it is the mean, held against the upper limit, that its verdict rests on."""
        by_mean = self.mean is not None and self.bounds.most is not None and self._room_below < self._room_above
        return by_mean and self.verdict != "under"

    @property
    def deciding(self) -> Estimate:
        """The tightest or the mean: whichever the verdict rests on."""
        return self.mean if self.mean is not None and self.decided_by_mean else self.estimate

    @property
    def _room_above(self) -> float:
        """From the lower limit, in standard uncertainties."""
        if self.bounds.least is None:
            return float("inf")
        return float(self.value - self.bounds.least) / max(self.uncertainty, 1e-9)

    @property
    def _room_below(self) -> float:
        """To the upper limit, in standard uncertainties."""
        if self.bounds.most is None:
            return float("inf")
        high = self.mean or self.estimate
        return (float(self.bounds.most) - high.value) / max(high.uncertainty, 1e-9)

    @property
    def rank(self) -> tuple[int, float]:
        """Its place where the worst stands first."""
        return RANKS[self.verdict], self.margin

    @property
    def margin(self) -> float:
        """How far inside the nearer limit the figure lies, in standard uncertainties; below zero outside; endless
        where it has no limit."""
        return min(self._room_above, self._room_below)


class Missing(NamedTuple):
    """A place of which something was not measured, or could not be put together, and why."""

    kind: str
    place: str
    lacking: str


class Filing(NamedTuple):
    """One ring in its bore [mm]: its gap, the least gap wanted, and how much to file from it; `to_be_sure` is so much
    that the same gauge can tell afterwards that it was enough."""

    cylinder: str
    ring: str
    gap: Fraction
    wanted: Fraction
    file: Fraction
    to_be_sure: Fraction
    decimals: int
    source: str | None
    practice: bool


class FastenerUse(NamedTuple):
    """How often a fastener, or all those of one place, was tightened: before this build (None where parts.yaml does not
    say), and in it. Many are made to be tightened once."""

    place: str
    before: int | None
    now: int


# From worst to best: the order in which a builder wants to see them.
RANKS: dict[str, int] = {"under": 0, "over": 0, "cannot tell": 1, "no limit": 3, "within": 2}


@dataclass(frozen=True, slots=True)
class FitFigures:
    """All fits, in the order of the job and of their places, and what is missing for the rest."""

    fits: tuple[Fit, ...]
    missing: tuple[Missing, ...]
    filing: tuple[Filing, ...]
    fasteners: tuple[FastenerUse, ...]

    def of(self, kind: str) -> tuple[Fit, ...]:
        return tuple(fit for fit in self.fits if fit.kind == kind)

    @property
    def kinds(self) -> tuple[str, ...]:
        """The kinds that anything is known of, in the order of the job."""
        known = {fit.kind for fit in self.fits} | {each.kind for each in self.missing}
        return tuple(kind for kind in FIT_KINDS if kind in known)


def sort_of_places(kind: str, measured: Iterable[str], figures: "Figures") -> str | None:
    """What names the places at which something was measured, where there is a choice: throws or rods, say."""
    used = set(measured)
    return next((at for at in MEASUREMENT_KINDS[kind].at if used & set(named_places(at, figures))), None)


def named_places(at: str, figures: "Figures") -> tuple[str, ...]:
    """The names that places of one sort have in this engine; none where the records do not say."""
    build = figures.build
    if at == "main":
        return tuple(map(str, range(1, (build.engine.main_bearings or 0) + 1)))
    if at in {"throw", "cylinder", "bank"}:
        if not figures.has_layout:
            return ()
        layout = figures.layout
        return tuple({"throw": layout.throws, "cylinder": layout.cylinders, "bank": layout.banks}[at])
    return tuple(piece for part in build.parts if part.kind == at and part.fitted for piece in part.pieces)


def fit_figures(figures: "Figures") -> FitFigures:
    """Work out every fit that the measurements allow. A figure with one of its two measurements lacking is missing."""
    work = _Work(figures)
    parts = (work.bearings, work.forms, work.pistons, work.pins, work.read_off, work.compressed, work.fasteners)
    found: list[Fit | Missing] = [each for part in parts for each in part()]
    order = {kind: number for number, kind in enumerate(FIT_KINDS)}
    fits = sorted(
        (each for each in found if isinstance(each, Fit)),
        key=lambda fit: (order[fit.kind], in_numbered_order(fit.place)),
    )
    missing = sorted(
        {each for each in found if isinstance(each, Missing)},
        key=lambda each: (order[each.kind], in_numbered_order(each.place), each.lacking),
    )
    filing = tuple(_filing(fit) for fit in fits if fit.kind in RINGS and fit.bounds.least is not None)
    return FitFigures(tuple(fits), tuple(missing), filing, tuple(_uses(figures)))


def _uses(figures: "Figures") -> Iterator[FastenerUse]:
    """Torque, angle and stretch of one tightening are often taken down as sessions of their own: the kind with the most
    sessions says how often there was one."""
    build = figures.build
    counts: dict[str, Counter[str]] = {}
    for session in build.clearances:
        if session.what in FASTENERS and session.void is None:
            for place in dict.fromkeys(spot.place for spot in session.spots):
                counts.setdefault(place, Counter())[session.what] += 1
    rods = named_places("rod", figures)
    for place, kinds in counts.items():
        bolts = "rod_bolt" if place in rods else f"{place.partition('_')[0]}_bolt"
        listed = next((part for part in build.parts if part.kind == bolts or place in part.pieces), None)
        before = listed.uses if listed else None
        new = listed is not None and listed.state == "new"
        yield FastenerUse(place, 0 if new and before is None else before, max(kinds.values()))


def unmeasured_limits(build: Build, found: FitFigures) -> tuple[str, ...]:
    """The limits of build.yaml on fits of which nothing has been worked out yet."""
    known = {name for fit in found.fits for name in (fit.kind, FIT_KINDS[fit.kind].limit)}
    named = {name for kind, each in FIT_KINDS.items() for name in (kind, each.limit)}
    return tuple(name for name in build.limits if name in named and name not in known)


def _filing(fit: Fit) -> Filing:
    assert fit.bounds.least is not None
    cylinder, _, which = fit.place.partition(" ")
    ring = fit.kind.removesuffix("_gap") + (f"_{which}" if which else "")
    wanted = fit.bounds.least
    file = max(wanted - fit.value, Fraction(0))
    to_be_sure = file + Fraction(COVERAGE * fit.uncertainty) if file else file
    bounds = fit.bounds
    return Filing(cylinder, ring, fit.value, wanted, file, to_be_sure, fit.decimals, bounds.source, bounds.practice)


class _Work:
    """The fits of one build, kind by kind."""

    def __init__(self, figures: "Figures") -> None:
        self.figures = figures
        self.build: Build = figures.build
        self.measured = figures.measured
        self.places = fitted_places(self.build)

    def of(self, kind: str) -> Mapping[str, Measured]:
        return self.measured.get(kind, {})

    def wanted(self, *kinds: str) -> list[str]:
        """The places to look at where anything of these kinds was measured: those the engine has, then any other."""
        if not any(self.of(kind) for kind in kinds):
            return []
        known = [
            place
            for kind in kinds
            for place in (*named_places(MEASUREMENT_KINDS[kind].at[0], self.figures), *self.of(kind))
        ]
        return list(dict.fromkeys(known))

    def bearings(self) -> Iterator[Fit | Missing]:
        for kind in ("main_clearance", "cam_clearance"):
            bores, journals = FIT_KINDS[kind].needs
            for place in self.wanted(bores, journals):
                yield self.clearance(kind, place, self.of(bores).get(place), self.of(journals).get(place))
        for rod in self.wanted("rod_bore") or (named_places("rod", self.figures) if self.of("rod_journal") else ()):
            bore, cylinder = self.of("rod_bore").get(rod), self.places.get(("rod", rod))
            if cylinder is None:
                lacking = "its journal: not matched yet" if bore else "rod bore, and its journal: not matched yet"
                yield Missing("rod_clearance", rod, lacking)
            else:
                yield self.clearance("rod_clearance", rod, bore, self.journal_of(cylinder))

    def journal_of(self, cylinder: str | None) -> Measured | None:
        """The rod journal that a cylinder's rod runs on: on a split pin, its own part of the throw."""
        if cylinder is None or not self.figures.has_layout or cylinder not in self.figures.layout.cylinders:
            return None
        throw = self.figures.layout.cylinders[cylinder].throw
        journal = self.of("rod_journal").get(throw)
        pins = self.figures.layout.pins(throw)
        if journal is None or len(pins) < 2 or len(journal.sections) != len(pins):
            return journal
        own = next(number for number, pin in enumerate(pins) if cylinder in pin.cylinders)
        return journal.part(list(journal.sections)[own])

    def clearance(self, kind: str, place: str, outer: Measured | None, inner: Measured | None) -> Fit | Missing:
        """What lies between a bore and what runs in it, or what of the two was not measured."""
        titles = [MEASUREMENT_KINDS[need].title for need in FIT_KINDS[kind].needs]
        lacking = [title for title, found in zip(titles, (outer, inner), strict=True) if found is None]
        if outer is None or inner is None:
            return Missing(kind, place, " and ".join(lacking))
        gap = between(outer, inner)
        return self.fit(
            kind,
            place,
            gap.tightest,
            gap.uncertainty,
            [(outer, outer.smallest), (inner, inner.largest)],
            mean=gap.mean,
            as_read=gap.as_read,
            diameter=inner.mean if kind in _BEARINGS else outer.mean,
        )

    def forms(self) -> Iterator[Fit | Missing]:
        for kind in ("main_journal", "rod_journal", "cam_journal", "main_bore", "rod_bore", "cam_bore"):
            for place, piece in self.of(kind).items():
                yield from self.form(kind, place, piece, sizes.taper)
        for place, piece in self.of("cylinder_bore").items():
            yield from self.form("bore", place, piece, sizes.largest_taper)

    def form(self, name: str, place: str, piece: Measured, taper: _Taper) -> Iterator[Fit | Missing]:
        tapered = taper([(mean,) for mean in piece.means]) if not self.parted(name, place) else None
        means = [apart(uncertainty_of_mean(each), each[0].calibration) for each in piece.sections.values()]
        for lost in piece.left_out if not self.parted(name, place) else ():
            again = piece.readings[0].session.id
            yield Missing(f"{name}_taper", place, f"{lost}: not measured again in {again}")
        if tapered is not None:
            listed = list(zip(piece.means, piece.sections.values(), strict=True))
            ends = [listed[0], listed[-1]] if taper is sizes.taper else listed
            from_mean = [_mean_of(piece, *pick(ends, key=lambda each: each[0])) for pick in (max, min)]
            decimals = max(each.decimals for each in from_mean)
            uncertainty = hypot(*sorted(means)[-2:])
            yield self.judged(
                f"{name}_taper", place, tapered, tapered, uncertainty, tuple(from_mean), decimals, diameter=piece.mean
            )
        rounds = [(sizes.out_of_round(values_of(section)), section) for section in piece.sections.values()]
        turned = [(out, section) for out, section in rounds if out is not None]
        if turned:
            out, section = max(turned, key=lambda each: each[0])
            most, least = (pick(section, key=lambda size: size.value) for pick in (max, min))
            uncertainty = hypot(*(apart(size.uncertainty, size.calibration) for size in (most, least)))
            from_ = [(piece, most), (piece, least)]
            yield self.fit(f"{name}_out_of_round", place, out, uncertainty, from_, diameter=piece.mean)

    def parted(self, name: str, place: str) -> bool:
        """Whether the sections of a rod journal are pins of their own, so that no taper runs from one to the other."""
        if name != "rod_journal" or not self.figures.has_layout or place not in self.figures.layout.throws:
            return False
        return len(self.figures.layout.pins(place)) > 1

    def pistons(self) -> Iterator[Fit | Missing]:
        skirts = {self.places.get(("piston", piston), ""): skirt for piston, skirt in self.of("piston_skirt").items()}
        for cylinder in self.wanted("cylinder_bore") or (named_places("cylinder", self.figures) if skirts else ()):
            bore, skirt = self.of("cylinder_bore").get(cylinder), skirts.get(cylinder)
            if skirt is None and bore is not None and self.of("piston_skirt") and cylinder not in self.taken("piston"):
                yield Missing("piston_clearance", cylinder, "its piston: not matched yet")
            else:
                yield self.clearance("piston_clearance", cylinder, bore, skirt)

    def taken(self, kind: str) -> set[str]:
        return {cylinder for (each, _), cylinder in self.places.items() if each == kind}

    def pins(self) -> Iterator[Fit | Missing]:
        pins = {self.places.get(("pin", pin), ""): found for pin, found in self.of("pin_diameter").items()}
        for kind, part in (("pin_in_piston", "piston"), ("pin_in_rod", "rod")):
            bores = FIT_KINDS[kind].needs[0]
            for piece in self.wanted(bores):
                bore, cylinder = self.of(bores).get(piece), self.places.get((part, piece))
                if bore is not None and cylinder is None and self.of("pin_diameter"):
                    yield Missing(kind, piece, "its pin: not matched yet")
                else:
                    yield self.clearance(kind, piece, bore, pins.get(cylinder or "-"))

    def read_off(self) -> Iterator[Fit | Missing]:
        """What a gauge shows as it stands: gaps, play, and the least distance of a valve."""
        for kind in (*RINGS, "top_ring_side", "second_ring_side", "oil_ring_side", "rod_side"):
            yield from self.each(kind)
        yield from self.parts_lacking("oil_rail_gap", self.of("oil_rail_gap"))
        for kind in ("crankshaft_end_play", "camshaft_end_play", "deck_height"):
            yield from (each for each in self.each(kind) if isinstance(each, Fit))
        for place in self.wanted("valve_to_piston"):
            valves = self.of("valve_to_piston").get(place)
            for valve in ("intake", "exhaust"):
                kind = f"{valve}_valve_to_piston"
                read = [
                    (name, each)
                    for name, each in (valves.sections if valves else {}).items()
                    if valve_of(name) == valve
                ]
                if not read:
                    yield Missing(kind, place, f"{valve} valve to piston")
                for name, section in read:
                    assert valves is not None
                    nearest = min(section, key=lambda size: size.value)
                    which = place if name in VALVES else f"{place} {name}"
                    yield self.fit(kind, which, nearest.value, nearest.uncertainty, [(valves, nearest)])

    def each(self, kind: str) -> Iterator[Fit | Missing]:
        """A fit for every section of every place of a kind that is measured directly: the mean of its readings."""
        found = self.of(kind)
        at = sort_of_places(kind, found, self.figures) if MEASUREMENT_KINDS[kind].each else None
        known = named_places(at, self.figures) if at else ()
        for place in dict.fromkeys((*known, *found)):
            if place not in found:
                yield Missing(kind, place, MEASUREMENT_KINDS[kind].title)
                continue
            for name, section in found[place].sections.items():
                which = f"{place} {name}" if name else place
                value = sizes.mean(values_of(section))
                uncertainty = uncertainty_of_mean(section)
                bore = self.bore(place) if kind in RINGS else None
                yield self.fit(kind, which, value, uncertainty, [(found[place], section[0])], diameter=bore)

    def bore(self, cylinder: str) -> Fraction | None:
        """A cylinder's bore [mm]: as measured, or else the engine's nominal."""
        found = self.of("cylinder_bore").get(cylinder)
        nominal = self.build.engine.bore
        return found.mean if found else nominal.worth("mm") if nominal else None

    def compressed(self) -> Iterator[Fit | Missing]:
        if not self.figures.has_layout:
            return
        compression = self.figures.compression
        for cylinder, figure in compression.cylinders.items():
            quench_from = [
                each for name in ("deck", "gasket") if name in figure.parts for each in figure.parts[name].came
            ]
            if figure.quench is not None:
                yield self.estimated("quench", cylinder, figure.quench, quench_from)
            else:
                lacking = [word for word in figure.missing if word in {"deck height", "gasket thickness"}]
                yield Missing("quench", cylinder, " and ".join(lacking))
            if figure.ratio is not None:
                from_ = [each for name in ("chamber", "dish", "deck") for each in figure.parts[name].came]
                yield self.estimated("compression_ratio", cylinder, figure.ratio, from_)
            elif figure.missing:
                yield Missing("compression_ratio", cylinder, " and ".join(figure.missing))
        if compression.spread is not None:
            yield self.estimated("compression_spread", "all", compression.spread, ())

    def untightened(self) -> Iterator[Missing]:
        """Fasteners that their fellows show to be there: bolts of other rods or caps, and their other bolts."""
        rods = set(named_places("rod", self.figures))
        caps = [f"main_{each}" for each in named_places("main", self.figures)]
        for kind in ("fastener_stretch", *TIGHTENINGS):
            of_rods = {place: piece for place, piece in self.of(kind).items() if place in rods}
            of_caps = {place: piece for place, piece in self.of(kind).items() if place.startswith("main_")}
            for found, fellows in ((of_rods, sorted(rods, key=in_numbered_order)), (of_caps, caps)):
                fit = "rod_bolt_stretch" if kind == "fastener_stretch" and found is of_rods else kind
                untold = [place for place in fellows if found and place not in found]
                yield from (Missing(fit, place, "not tightened, or not taken down") for place in untold)
                yield from self.parts_lacking(fit, found)

    def parts_lacking(self, fit: str, found: Mapping[str, Measured]) -> Iterator[Missing]:
        """What of a place was not measured where most of its fellows had it: one rail of two, one bolt of two."""
        names = Counter(name for piece in found.values() for name in piece.sections)
        usual = [name for name, count in names.items() if name and 2 * count > len(found)]
        counts = Counter(len(piece.readings) for piece in found.values())
        most = max(counts, key=lambda number: (counts[number], number), default=0)
        for place, piece in found.items():
            lacking = [name for name in usual if name not in piece.sections]
            if lacking:
                yield Missing(fit, place, f"no {' and no '.join(lacking)}")
            elif fit.endswith("stretch") and len(piece.readings) < most:
                yield Missing(fit, place, f"only {len(piece.readings)} of {most} bolts")

    def fasteners(self) -> Iterator[Fit | Missing]:
        """Stretch of every bolt, and the last step of every tightening against what was asked."""
        yield from self.untightened()
        rods = set(named_places("rod", self.figures))
        for place, piece in self.of("fastener_stretch").items():
            kind = "rod_bolt_stretch" if place in rods else "fastener_stretch"
            for name, section in piece.sections.items():
                for number, size in enumerate(section, start=1):
                    bolt = " ".join(filter(None, (place, name, str(number) if len(section) > 1 else "")))
                    fit = self.fit(kind, bolt, size.value, size.uncertainty, [(piece, size)])
                    asked = size.session.asked
                    own_limit = fit.bounds.where is not None or not asked
                    yield fit if own_limit else self.as_asked(fit, asked, ASKED_WITHIN, steps=len(asked))
        for kind in TIGHTENINGS:
            for place, piece in self.of(kind).items():
                for name, section in piece.sections.items():
                    yield self.tightened(kind, f"{place} {name}".strip(), piece, section)

    def as_asked(self, fit: Fit, asked: Sequence[Quantity], share: Fraction, *, steps: int) -> Fit:
        """A tightening against what was asked, where build.yaml sets no limit: its last step, so many being done."""
        unit = FIT_KINDS[fit.kind].unit
        last = asked[-1].worth(unit)
        source = f"asked {', '.join(quantity.text for quantity in asked)}, within {float(100 * share):g} %"
        source += "" if fit.kind == "fastener_torque" else ", common practice"
        if steps != len(asked):
            source += f"; {steps} of {len(asked)} steps taken down"
        bounds = Bounds(last * (1 - share), last * (1 + share), source)
        verdict = decide(fit.estimate, fit.estimate, bounds.least, bounds.most)
        if steps != len(asked) and verdict in {"within", "cannot tell"}:
            verdict = "under" if steps < len(asked) else "over"
        return replace(fit, bounds=bounds, verdict=verdict)

    def tightened(self, kind: str, place: str, piece: Measured, section: tuple[Size, ...]) -> Fit:
        last = section[-1]
        fit = self.fit(kind, place, last.value, last.uncertainty, [(piece, step) for step in section])
        asked = last.session.asked
        if not asked or fit.bounds.where is not None:
            return fit
        unit = FIT_KINDS[kind].unit
        aims = [quantity.worth(unit) for quantity in asked]
        shares = [tightened_within(aim) if kind == "fastener_torque" else ASKED_WITHIN for aim in aims]
        fit = self.as_asked(fit, asked, shares[-1], steps=len(section))
        for size, aim, share in zip(section, aims[:-1], shares, strict=False):
            if fit.verdict in {"within", "cannot tell"} and abs(size.value - aim) > share * aim:
                fit = replace(fit, verdict="under" if size.value < aim else "over")
        return fit

    def estimated(self, kind: str, place: str, figure: Estimate, came_from: Iterable[Came]) -> Fit:
        value = Fraction(figure.value).limit_denominator(10**9)
        return self.judged(kind, place, value, value, figure.uncertainty, tuple(came_from), 2)

    def fit(
        self,
        kind: str,
        place: str,
        value: Fraction,
        uncertainty: float,
        came_from: Iterable[tuple[Measured, Size]],
        *,
        mean: Estimate | None = None,
        as_read: Fraction | None = None,
        diameter: Fraction | None = None,
    ) -> Fit:
        from_ = tuple(came(piece, size) for piece, size in came_from)
        decimals = max(each.decimals for each in from_)
        unread = value if as_read is None else as_read
        return self.judged(kind, place, value, unread, uncertainty, from_, decimals, mean=mean, diameter=diameter)

    def judged(
        self,
        kind: str,
        place: str,
        value: Fraction,
        as_read: Fraction,
        uncertainty: float,
        came_from: tuple[Came, ...],
        decimals: int,
        *,
        mean: Estimate | None = None,
        diameter: Fraction | None = None,
    ) -> Fit:
        bounds = bounds_of(self.build, kind, diameter)
        low = Estimate(float(value), uncertainty)
        verdict = decide(low, mean or low, bounds.least, bounds.most)
        return Fit(kind, place, value, as_read, uncertainty, mean, bounds, verdict, came_from, decimals, diameter)


def _mean_of(piece: Measured, mean: Fraction, section: tuple[Size, ...]) -> Came:
    """A section's mean as what a figure came from, with one digit more than was read where it is of several."""
    as_read = sum((size.as_read for size in section), Fraction(0)) / len(section)
    one = came(piece, section[0])
    return one._replace(value=mean, as_read=as_read, decimals=one.decimals + (len(section) > 1))


def limit_words(fit: Fit, text: Callable[[Fraction, int], str] = fixed) -> str:
    """The limit of a fit and who says so, `0.045 to 0.075, bearing maker's sheet`; nothing where there is none."""
    if fit.verdict == "no limit":
        return ""
    decimals = 3 if FIT_KINDS[fit.kind].unit == "mm" else 2
    if not fit.bounds.practice:
        decimals = _enough(decimals, [each for each in fit.bounds[:2] if each is not None], text)
    least, most = (None if each is None else text(each, decimals) for each in fit.bounds[:2])
    said = f"{least} to {most}" if least and most else f"at least {least}" if least else f"at most {most}"
    source = f"common practice, {fit.bounds.source}" if fit.bounds.practice else fit.bounds.source
    return f"{said}, {source}" if source else said


def _enough(fewest: int, values: Sequence[Fraction], text: Callable[[Fraction, int], str]) -> int:
    """Decimals enough to write limits as they were stated, in the unit that they are shown in: where more would only
    be zeros. The fewest, where no few more would do."""

    def exact(value: Fraction, decimals: int) -> bool:
        return Fraction(text(value, decimals)) == Fraction(text(value, decimals + 3))

    enough = (more for more in range(fewest, fewest + 3) if all(exact(value, more) for value in values))
    return next(enough, fewest)


def limit_bounds(limit: Limit, unit: str) -> dict[str, Fraction]:
    """The bounds of a limit by name, in the unit of its figure; those per unit of diameter are not among them."""
    stated = {name: Fraction(ratio) for name, ratio in limit.ratios.items()}
    for name, bound in limit.bounds.items():
        if unit and bound.dimension == UNITS[unit].dimension:
            stated[name] = bound.worth(unit)
    return stated


def bounds_of(build: Build, kind: str, diameter: Fraction | None) -> Bounds:
    """The limits of build.yaml on a kind of fit [its unit], those per unit of diameter worked out; where it has none,
    a rule of thumb if there is one."""
    limit = build.limits.get(kind) or build.limits.get(FIT_KINDS[kind].limit)
    unit = FIT_KINDS[kind].unit
    if limit is not None:
        stated = limit_bounds(limit, unit)
        if diameter is not None:
            stated |= {name: Fraction(share) * diameter for name, share in limit.per_mm.items()}
        if "min" in stated or "max" in stated:
            return Bounds(stated.get("min"), stated.get("max"), limit.source, where=limit.where)
    practice = COMMON_PRACTICE.get(kind)
    if practice is None or (practice.per_diameter and diameter is None):
        return Bounds()
    scale = diameter if practice.per_diameter and diameter is not None else Fraction(1)
    least, most = (None if each is None else each * scale for each in (practice.least, practice.most))
    return Bounds(least, most, practice.said, practice=True)
