"""Static and dynamic compression of every cylinder, and what would bring it to a wanted ratio."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import hypot, pi
from typing import TYPE_CHECKING, NamedTuple

from buildbook import uncertainty as gum
from buildbook.figures.measured import Came, came, fitted_places, uncertainty_of_mean, values_of
from buildbook.fits import compression, sizes
from buildbook.fits.decision import Estimate
from buildbook.quantities import DIMENSIONS, Quantity
from buildbook.records.model import Build

if TYPE_CHECKING:
    from buildbook.figures import Figures


class Known(NamedTuple):
    """One thing that the compression is made of, in mm or cc: measured, or as the maker or engine.yaml states it.

    `assumed` says what was taken for granted where it was measured elsewhere.
    """

    value: float
    uncertainty: float
    came: tuple[Came, ...]
    stated: bool = False
    assumed: str = ""


@dataclass(frozen=True, slots=True)
class CylinderCompression:
    """One cylinder: what its volumes are made of [mm, cc], and the ratios that follow once all of them are known.

    `quench` is the gasket with the deck height: what is between piston and head at top dead centre [mm].
    """

    cylinder: str
    parts: Mapping[str, Known]
    missing: tuple[str, ...]
    assumed: tuple[str, ...]
    swept: float | None
    volume: compression.ClearanceVolume | None
    ratio: Estimate | None
    dynamic: float | None
    quench: Estimate | None
    own_uncertainty: float = 0.0  # of the ratio, without what is stated and so the same for all cylinders

    @property
    def clearance(self) -> float | None:
        return self.volume.total if self.volume else None


class Change(NamedTuple):
    """What would bring one cylinder to a wanted ratio, each by itself: so much more clearance volume [cc], a gasket
    that much thicker [mm], or that much cut off the block's face [mm]; below zero the other way."""

    volume: float
    gasket: float
    cut: float


@dataclass(frozen=True, slots=True)
class CompressionFigures:
    """The compression of every cylinder that anything was measured of."""

    cylinders: Mapping[str, CylinderCompression]
    intake_closes: float | None

    @property
    def complete(self) -> tuple[CylinderCompression, ...]:
        return tuple(each for each in self.cylinders.values() if each.ratio is not None)

    @property
    def spread(self) -> Estimate | None:
        """Highest less lowest ratio, once every cylinder's is known. What is stated (stroke, gasket) is the same for
        both and takes no part in the difference's uncertainty."""
        known = sorted((each.ratio.value, each.own_uncertainty) for each in self.complete if each.ratio is not None)
        if len(known) < 2 or len(known) < len(self.cylinders):
            return None
        (lowest, u_lowest), (highest, u_highest) = known[0], known[-1]
        return Estimate(highest - lowest, hypot(u_lowest, u_highest))

    def changes(self, wanted: float) -> dict[str, Change]:
        """What would bring each cylinder to the wanted ratio: ΔV = Vs/(r − 1) − Vc, shared out over the gasket's hole
        or the bore. Raises ValueError for a ratio of one or less."""
        result = {}
        for each in self.complete:
            assert each.swept is not None
            assert each.volume is not None
            more = compression.clearance_for(each.swept, wanted) - each.volume.total
            gasket_bore, bore = each.parts["gasket_bore"].value, each.parts["bore"].value
            result[each.cylinder] = Change(more, more / _area(gasket_bore), -more / _area(bore))
        return result


def _area(diameter: float) -> float:
    """[cc for each mm of height] of a circle [mm]."""
    return pi / 4 * diameter**2 / 1000


def compression_figures(figures: "Figures") -> CompressionFigures:
    """The compression of every cylinder, once anything that only compression needs was measured. Raises LayoutError."""
    build = figures.build
    closes = build.intake_closes
    at = float(closes.worth("deg")) if closes is not None else None
    begun = any(figures.measured.get(kind) for kind in ("chamber_volume", "piston_dish", "deck_height"))
    work = _Work(figures)
    return CompressionFigures({each: work.cylinder(each, at) for each in figures.layout.cylinders} if begun else {}, at)


class _Work:
    def __init__(self, figures: "Figures") -> None:
        self.build: Build = figures.build
        self.measured = figures.measured
        self.layout = figures.layout
        self.pieces = {(kind, cylinder): piece for (kind, piece), cylinder in fitted_places(self.build).items()}

    def cylinder(self, cylinder: str, intake_closes: float | None) -> CylinderCompression:
        engine = self.build.engine
        found: dict[str, Known | None] = {
            "bore": _real(self.read("cylinder_bore", cylinder) or _as_stated(engine.bore)),
            "stroke": _real(_as_stated(engine.stroke)),
            "chamber": self.read("chamber_volume", cylinder) or self.stated("head", "chamber"),
            "dish": self.dish(cylinder),
            "deck": self.deck(cylinder),
            "gasket": self.gasket("gasket_thickness", "thickness", cylinder),
            "gasket_bore": _real(self.gasket("gasket_bore", "diameter", cylinder)),
        }
        parts = {name: known for name, known in found.items() if known is not None}
        piston = self.pieces.get(("piston", cylinder))
        land = self.read("ring_land_volume", piston) if piston else None
        parts |= {"ring_land": land} if land else {}
        missing = [_WORDS[name] for name, known in found.items() if known is None]
        assumed = [f"{_WORDS[name]} as stated" for name, known in parts.items() if known.stated]
        assumed += [known.assumed for known in parts.values() if known.assumed]
        assumed += [] if land else ["no ring-land volume"]
        quench = None
        if "deck" in parts and "gasket" in parts:
            deck, gasket = parts["deck"], parts["gasket"]
            quench = Estimate(deck.value + gasket.value, gum.combined(deck.uncertainty, gasket.uncertainty))
        if missing:
            return CylinderCompression(cylinder, parts, tuple(missing), tuple(assumed), None, None, None, None, quench)
        value = {name: known.value for name, known in parts.items()}
        swept = compression.bore_volume(value["bore"], value["stroke"])
        volume = compression.ClearanceVolume(
            chamber=value["chamber"],
            dish=value["dish"],
            gasket=compression.bore_volume(value["gasket_bore"], value["gasket"]),
            deck=compression.bore_volume(value["bore"], value["deck"]),
            ring_land=value.get("ring_land", 0.0),
        )
        ratio = dynamic = None
        own_uncertainty = 0.0
        if volume.total > 0:
            measured = {
                name: known._replace(uncertainty=0.0) if known.stated else known for name, known in parts.items()
            }
            uncertainty, own_uncertainty = (
                compression.ratio_uncertainty(swept, volume.total, *_uncertainties(known, volume, swept))
                for known in (parts, measured)
            )
            ratio = Estimate(compression.compression_ratio(swept, volume.total), uncertainty)
            rod = engine.rod_length
            length = float(rod.worth("mm")) if rod else 0.0
            if intake_closes is not None and abs(intake_closes) < 180 and length > value["stroke"] / 2:
                dynamic = compression.dynamic_ratio(value["bore"], value["stroke"], length, volume.total, intake_closes)
        return CylinderCompression(
            cylinder, parts, (), tuple(assumed), swept, volume, ratio, dynamic, quench, own_uncertainty
        )

    def read(self, kind: str, place: str) -> Known | None:
        """What was measured there: the mean of its readings."""
        piece = self.measured.get(kind, {}).get(place)
        if piece is None:
            return None
        return Known(float(piece.mean), piece.mean_uncertainty, (came(piece, piece.readings[0]),))

    def stated(self, kind: str, name: str, piece: str | None = None) -> Known | None:
        """What the maker states of a piece of that kind, or of the only sort that is fitted."""
        listed = [part for part in self.build.parts if part.kind == kind and part.fitted and name in part.stated]
        own = [part for part in listed if piece in part.pieces] if piece else listed
        known = {each.value: each for part in own if (each := _as_stated(part.stated[name]))}
        return next(iter(known.values())) if len(known) == 1 else None

    def dish(self, cylinder: str) -> Known | None:
        piston = self.pieces.get(("piston", cylinder))
        own = self.read("piston_dish", piston) if piston else None
        return own or self.stated("piston", "dish", piston)

    def deck(self, cylinder: str) -> Known | None:
        """Of the cylinder itself, or between the two ends of its bank: the cylinders stand at equal distances, the
        first of the bank at the front reading and the last at the rear one."""
        own = self.read("deck_height", cylinder)
        bank = self.layout.cylinders[cylinder].bank
        ends = self.measured.get("deck_height", {}).get(bank)
        if own is not None or ends is None:
            return own
        throws = list(self.layout.throws)
        in_bank = [each for each in self.layout.cylinders.values() if each.bank == bank]
        if len(ends.sections) == 1:
            only = self.read("deck_height", bank)
            (end,) = ends.sections
            at = f"its {end} alone" if end else "one place"
            said = f"deck height of bank {bank}, read at {at}, the same all along it"
            return only._replace(assumed=said) if only and len(in_bank) > 1 else only
        from_front = [each.name for each in sorted(in_bank, key=lambda each: throws.index(each.throw))]
        share = from_front.index(cylinder) / (len(from_front) - 1) if len(from_front) > 1 else 0.5
        front, rear = (list(ends.sections.values())[place] for place in (0, -1))
        front_mean, rear_mean = (float(sizes.mean(values_of(section))) for section in (front, rear))
        uncertainty = hypot((1 - share) * uncertainty_of_mean(front), share * uncertainty_of_mean(rear))
        from_ = (came(ends, front[0]), came(ends, rear[0]))
        return Known(front_mean + share * (rear_mean - front_mean), uncertainty, from_)

    def gasket(self, kind: str, stated: str, cylinder: str) -> Known | None:
        """Measured on the gasket of the cylinder's bank (gaskets are listed in the banks' order), or as stated."""
        banks = list(self.layout.banks)
        bank = self.layout.cylinders[cylinder].bank
        gaskets = [
            piece for part in self.build.parts if part.kind == "head_gasket" and part.fitted for piece in part.pieces
        ]
        own = gaskets[banks.index(bank)] if len(gaskets) == len(banks) else None
        return (
            self.read(kind, bank) or (self.read(kind, own) if own else None) or self.stated("head_gasket", stated, own)
        )


_WORDS = {
    "bore": "bore",
    "stroke": "stroke",
    "chamber": "chamber volume",
    "dish": "piston dish",
    "deck": "deck height",
    "gasket": "gasket thickness",
    "gasket_bore": "gasket bore",
    "ring_land": "ring-land volume",
}


def _real(known: Known | None) -> Known | None:
    """A size that can be; what is not above nothing is as good as not known."""
    return known if known is not None and known.value > 0 else None


def _as_stated(quantity: Quantity | None) -> Known | None:
    """A number taken from paper: known as well as its last digit says (GUM F.2.2.1)."""
    if quantity is None:
        return None
    unit = DIMENSIONS[quantity.dimension][0]
    return Known(float(quantity.worth(unit)), gum.resolution(float(quantity.last_digit(unit))), (), stated=True)


def _uncertainties(
    parts: Mapping[str, Known], volume: compression.ClearanceVolume, swept: float
) -> tuple[float, float]:
    """Standard uncertainties of the swept and of the clearance volume [cc] (GUM 5.1.2): a volume π/4 d² h carries
    2 u(d)/d and u(h)/h of itself."""
    bore, stroke, gasket, gasket_bore, deck = (
        parts[name] for name in ("bore", "stroke", "gasket", "gasket_bore", "deck")
    )
    of_swept = swept * hypot(2 * bore.uncertainty / bore.value, stroke.uncertainty / stroke.value)
    of_gasket = hypot(
        volume.gasket * 2 * gasket_bore.uncertainty / gasket_bore.value,
        _area(gasket_bore.value) * gasket.uncertainty,
    )
    of_deck = hypot(volume.deck * 2 * bore.uncertainty / bore.value, _area(bore.value) * deck.uncertainty)
    poured = [parts[name].uncertainty for name in ("chamber", "dish", "ring_land") if name in parts]
    return of_swept, gum.combined(of_gasket, of_deck, *poured)
