"""What the YAML says, as frozen records. Nothing here is worked out; nothing here touches a file.

Small records are named tuples, which cost a third of a dataclass to define: start-up is felt at every keystroke.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Literal, NamedTuple

from buildbook.quantities import Quantity
from buildbook.records.finding import Where


class WeighingKind(NamedTuple):
    """A kind of weighing: what a reading of it is, and what it counts for in a bobweight.

    `pieces` are the kinds of part whose ids name a reading (`P1+N1` for a piston with its pin). `moves` says
    whether the weight goes up and down with the piston or round with the crankpin. Each rod or cylinder has one
    reading's worth of it. `each` is True where every piece must be weighed by itself; otherwise the mean of some
    stands for all.
    """

    title: str
    pieces: tuple[str, ...]
    moves: Literal["reciprocating", "rotating", "neither"]
    each: bool


# The one place to add a kind of weighing (its name also belongs in the list that schemas/weighings.schema.json
# offers to editors; a test holds the two together).
WEIGHING_KINDS: dict[str, WeighingKind] = {
    "rod": WeighingKind("whole rod", ("rod",), "neither", True),
    "rod_big_end": WeighingKind("rod big end", ("rod",), "rotating", True),
    "rod_small_end": WeighingKind("rod small end", ("rod",), "reciprocating", True),
    "piston": WeighingKind("piston", ("piston",), "reciprocating", True),
    "pin": WeighingKind("pin", ("pin",), "reciprocating", True),
    "piston_with_pin": WeighingKind("piston with pin", ("piston", "pin"), "reciprocating", True),
    "ring_set": WeighingKind("ring set", ("ring_set",), "reciprocating", False),
    "pin_locks": WeighingKind("pin locks", ("pin_locks",), "reciprocating", False),
    "rod_bearing": WeighingKind("rod bearing", ("rod_bearing",), "rotating", False),
}


class MeasurementKind(NamedTuple):
    """A kind of measurement: what a reading of it is, and where one is taken.

    `at` says what may name a place: a main or cam journal (`main`, `cam`), a `throw`, a `cylinder`, a `bank`, a
    `fastener`, or a kind of part, by the ids of its pieces. `made_of` is the part whose material decides how much a
    size changes with temperature; None where what is read is a gap, a volume or a tightening. `each` says whether
    every such place of an engine has one to measure.
    """

    title: str
    dimension: str
    at: tuple[str, ...]
    made_of: str | None = None
    each: bool = True


# The one place to add a kind of measurement (and its name in the list of schemas/clearances.schema.json, as above).
MEASUREMENT_KINDS: dict[str, MeasurementKind] = {
    "main_journal": MeasurementKind("main journal", "length", ("main",), "crankshaft"),
    "main_bore": MeasurementKind("main bore", "length", ("main",), "block"),
    "rod_journal": MeasurementKind("rod journal", "length", ("throw",), "crankshaft"),
    "rod_bore": MeasurementKind("rod bore", "length", ("rod",), "rod"),
    "cam_journal": MeasurementKind("cam journal", "length", ("cam",), "camshaft"),
    "cam_bore": MeasurementKind("cam bore", "length", ("cam",), "block"),
    "cylinder_bore": MeasurementKind("cylinder bore", "length", ("cylinder",), "block"),
    "piston_skirt": MeasurementKind("piston skirt", "length", ("piston",), "piston"),
    "pin_diameter": MeasurementKind("pin", "length", ("pin",), "pin"),
    "piston_pin_bore": MeasurementKind("pin bore of the piston", "length", ("piston",), "piston"),
    "rod_pin_bore": MeasurementKind("pin bore of the rod", "length", ("rod",), "rod"),
    "top_ring_gap": MeasurementKind("top ring gap", "length", ("cylinder",)),
    "second_ring_gap": MeasurementKind("second ring gap", "length", ("cylinder",)),
    "oil_rail_gap": MeasurementKind("oil rail gap", "length", ("cylinder",)),
    "top_ring_side": MeasurementKind("top ring side clearance", "length", ("cylinder", "piston")),
    "second_ring_side": MeasurementKind("second ring side clearance", "length", ("cylinder", "piston")),
    "oil_ring_side": MeasurementKind("oil ring side clearance", "length", ("cylinder", "piston")),
    "rod_side": MeasurementKind("rod side clearance", "length", ("throw", "rod")),
    "crankshaft_end_play": MeasurementKind("crankshaft end play", "length", ("main",), each=False),
    "camshaft_end_play": MeasurementKind("camshaft end play", "length", ("cam",), each=False),
    "deck_height": MeasurementKind("deck height", "length", ("bank", "cylinder")),
    "gasket_thickness": MeasurementKind("gasket thickness", "length", ("head_gasket", "bank"), each=False),
    "gasket_bore": MeasurementKind("gasket bore", "length", ("head_gasket", "bank"), each=False),
    "chamber_volume": MeasurementKind("chamber volume", "volume", ("cylinder",)),
    "piston_dish": MeasurementKind("piston dish", "volume", ("piston",)),
    "ring_land_volume": MeasurementKind("ring-land volume", "volume", ("piston",)),
    "valve_to_piston": MeasurementKind("valve to piston", "length", ("cylinder",)),
    "fastener_torque": MeasurementKind("fastener torque", "torque", ("fastener",), each=False),
    "fastener_angle": MeasurementKind("fastener angle", "angle", ("fastener",), each=False),
    "fastener_stretch": MeasurementKind("fastener stretch", "length", ("fastener",), each=False),
}

# The limits of build.yaml that are plain ratios or weights; all the others it names are lengths.
RATIO_LIMITS = ("compression_ratio", "compression_spread")
MASS_LIMITS = ("reciprocating_spread", "big_end_spread", "bobweight_spread", "bobweight_set", "residual")
LENGTH_LIMITS = (
    *("main_clearance", "rod_clearance", "cam_clearance", "journal_taper", "journal_out_of_round"),
    *("piston_clearance", "bore_taper", "bore_out_of_round", "pin_in_piston", "pin_in_rod"),
    *("top_ring_gap", "second_ring_gap", "oil_rail_gap", "top_ring_side", "second_ring_side", "oil_ring_side"),
    *("rod_side", "crankshaft_end_play", "camshaft_end_play", "deck_height", "quench"),
    *("intake_valve_to_piston", "exhaust_valve_to_piston", "rod_bolt_stretch"),
)


class Taken(NamedTuple):
    """When a record was made: as written, and as an instant (a time without an offset is taken as UTC)."""

    text: str
    instant: datetime

    @property
    def has_time(self) -> bool:
        return "T" in self.text

    @property
    def day(self) -> date:
        return date.fromisoformat(self.text[:10])


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """What every record says of itself: when, by whom, with what; and why it does not count, if it is void."""

    where: Where
    id: str | None = None
    taken: Taken | None = None
    by: str | None = None
    with_: str | None = None
    note: str | None = None
    void: str | None = None
    places: Mapping[str, Where] = field(default_factory=dict)  # where taken, by and with are written

    def place(self, name: str) -> Where:
        """Where a field of the record is written; the record itself where it has no such field."""
        return self.places.get(name, self.where)


class Person(NamedTuple):
    name: str | None
    email: str | None


class Instrument(NamedTuple):
    kind: str
    description: str | None
    resolution: Quantity | None
    repeatability: Quantity | None  # the standard deviation of repeated readings
    uncertainty: Quantity | None  # expanded (k = 2), as its certificate states it
    capacity: Quantity | None
    calibrations: tuple[tuple[Taken | None, Taken | None], ...]  # done, and next due, for each time

    @property
    def weighs(self) -> bool:
        """Whether it can be what a piece was weighed on."""
        return self.kind in {"scale", "other"} and self.reads("mass")

    @property
    def balances(self) -> bool:
        """Whether a crankshaft can have been spun on it."""
        return self.kind == "balancing_machine"

    def reads(self, dimension: str) -> bool:
        """Whether what it states of itself, if anything, is of this dimension."""
        stated = (self.resolution, self.repeatability)
        return all(each is None or each.dimension == dimension for each in stated)

    def in_calibration(self, day: date) -> bool:
        """Whether some calibration held on that day; an instrument that states no due date has none to miss."""
        periods = [(done, due) for done, due in self.calibrations if due is not None]
        return not periods or any((done is None or done.day <= day) and day <= due.day for done, due in periods)


class Bit(NamedTuple):
    """A drill that the shop owns: its diameter [length] and the angle of its point."""

    diameter: Quantity
    point: Quantity | None


class KeptCoefficients(NamedTuple):
    """Influence coefficients of a family of crankshafts: plane → reading → amount and angle [deg] for one gram."""

    id: str
    planes: Mapping[str, Mapping[str, tuple[Decimal, Decimal]]]


class Shop(NamedTuple):
    name: str | None
    people: Mapping[str, Person]
    instruments: Mapping[str, Instrument]
    bits: tuple[Bit, ...]
    coefficients: tuple[KeptCoefficients, ...]
    preferred_units: Mapping[str, str]  # dimension → what figures are shown in
    where: Where


class SpelledThrow(NamedTuple):
    angle: Quantity
    cylinders: Mapping[str, tuple[str, Quantity | None]]  # cylinder → its bank, and its own pin's angle if split


class SpelledLayout(NamedTuple):
    """A layout written out by hand, as in the ledger: banks from the vertical, throws, and who sits on them."""

    banks: Mapping[str, Quantity]
    throws: Mapping[str, SpelledThrow]


class Engine(NamedTuple):
    name: str
    description: str | None
    family: str | None  # what engines of one design share
    owner_ref: str | None
    owner_name: str | None
    serials: Mapping[str, str]
    layout: str | SpelledLayout | None
    bore: Quantity | None
    stroke: Quantity | None
    rod_length: Quantity | None
    bore_spacing: Quantity | None
    bank_offset: Quantity | None
    main_bearings: int | None
    main_journal: Quantity | None  # standard diameters as new
    rod_journal: Quantity | None
    firing_order: tuple[str, ...]
    where: Where
    where_layout: Where
    where_firing_order: Where


class StampedId(NamedTuple):
    """The id stamped or marked on a piece, and where the parts list says so."""

    id: str
    where: Where


@dataclass(frozen=True, slots=True)
class Part:
    """One line of the parts list: pieces of one kind, each with its id, or only counted."""

    kind: str
    ids: tuple[StampedId, ...]
    count: int | None
    maker: str | None
    number: str | None
    state: str | None
    material: str | None
    undersize: Quantity | None
    uses: int | None  # how often fasteners had been tightened before this build
    stated: Mapping[str, Quantity]  # kind of weighing, or size by name → what the maker states
    mass: Quantity | None
    density: Quantity | None
    balanced_externally: tuple[str, ...]  # the ends of a crankshaft that need a weight hung on them
    where: Where

    @property
    def fitted(self) -> bool:
        """Whether the pieces go into the engine; spares are weighed and kept, and count for nothing."""
        return self.state != "spare"

    @property
    def pieces(self) -> tuple[str, ...]:
        """The ids; pieces that are only counted are numbered from 1."""
        return tuple(stamped.id for stamped in self.ids) or tuple(
            str(number) for number in range(1, (self.count or 0) + 1)
        )


class CheckWeight(NamedTuple):
    nominal: Quantity
    before: Quantity | None
    after: Quantity | None


class Reading(NamedTuple):
    values: tuple[Quantity, ...]
    where: Where
    where_name: Where  # where the piece is named


class Lot(NamedTuple):
    """Pieces weighed together: the total of `pieces`, of which each cylinder (or rod) has `per_cylinder`, 1 where
    that is not said."""

    total: Reading
    pieces: int
    per_cylinder: int
    said: bool  # whether the record says how many go into each cylinder


@dataclass(frozen=True, slots=True, kw_only=True)
class WeighingSession(Entry):
    what: str
    where_what: Where
    check_weight: CheckWeight | None
    readings: Mapping[str, Reading]
    lot: Lot | None


class Spot(NamedTuple):
    """Readings of one place: which journal, cylinder or piece, where along it, and where within that (`""` where it
    is not divided). Several readings turn round it."""

    place: str
    along: str
    within: str
    reading: Reading


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuringSession(Entry):
    what: str
    where_what: Where
    temperature: Quantity | None
    spots: tuple[Spot, ...]
    asked: tuple[Quantity, ...]  # what a fastener was to be tightened to, step by step


class Lock(NamedTuple):
    """Pieces that belong together, or in one cylinder, and that the matcher may not part."""

    pieces: Mapping[str, str]  # kind of part → id
    cylinder: str | None
    because: str | None
    where: Where


class CylinderSet(NamedTuple):
    """What goes into one cylinder: kind of part → id."""

    pieces: Mapping[str, str]
    where: Where


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision(Entry):
    """Which piece goes with which, in which cylinder, as decided; `from_` are the weighing sessions it rests on."""

    how: str | None
    from_: tuple[str, ...]
    cylinders: Mapping[str, CylinderSet]
    because: str | None


class Pairings(NamedTuple):
    locks: tuple[Lock, ...] = ()
    decisions: tuple[Decision, ...] = ()  # oldest first; the last one counts

    @property
    def decision(self) -> Decision | None:
        return self.decisions[-1] if self.decisions else None


@dataclass(frozen=True, slots=True, kw_only=True)
class SetBobweights(Entry):
    """The bobweights as they were set on the crankshaft, by throw."""

    target: Quantity | None
    set: Mapping[str, Reading]


class CountedAngles(NamedTuple):
    """How the balancing machine counts angles, in the words of the ledger."""

    zero: str | None
    positive: str
    reading: str
    where: Where


class Window(NamedTuple):
    """An arc of the crankshaft where metal may be taken, from `start` to `end` the way the machine counts."""

    start: Quantity
    end: Quantity
    depth: Quantity | None
    width: Quantity | None
    radius: Quantity | None
    position: Quantity | None
    where: Where


class SpinPlane(NamedTuple):
    position: Quantity | None
    radius: Quantity | None
    windows: tuple[Window, ...]
    where: Where


class SpinReading(NamedTuple):
    """What the machine showed for one plane."""

    amount: Quantity
    angle: Quantity
    where: Where


class Spin(NamedTuple):
    speed: Quantity | None
    carrying: tuple[str, ...]
    readings: Mapping[str, SpinReading]


class Change(NamedTuple):
    """One change to what spins: its kind, its numbers and its words, named as in the ledger."""

    kind: str
    numbers: Mapping[str, Quantity]
    words: Mapping[str, str]
    where: Where


@dataclass(frozen=True, slots=True, kw_only=True)
class Step(Entry):
    """One spin, or one change to what spins."""

    spin: Spin | None
    change: Change | None


class Spins(NamedTuple):
    """The balancing record: how the machine counts, where it reads, and every step in the order done."""

    angles: CountedAngles | None
    planes: Mapping[str, SpinPlane]
    bearings: Mapping[str, Quantity]
    mass_centre: Quantity | None
    bobweights: SetBobweights | None
    steps: tuple[Step, ...]
    where: Where


# The stage that ends the job: a sign-off of it seals the build. A shop's own word for it carries a digest.
LAST_STAGE = "assembled"


class SignedFigure(NamedTuple):
    """One figure as a sign-off keeps it: its text, `2180.14` or `"0.0022 in"`, and where it is written."""

    text: str
    where: Where


@dataclass(frozen=True, slots=True, kw_only=True)
class SignOff(Entry):
    """One stage signed for, with the figures of that day by name (`bobweight_target`, `main_clearance.5`); `units`
    are those of the file, dimension → unit, which a figure without a unit of its own is in."""

    stage: str
    version: str | None
    digest: str | None
    figures: Mapping[str, SignedFigure]
    units: Mapping[str, str]

    @property
    def seals(self) -> bool:
        """Whether nothing of the build may change any more."""
        return self.digest is not None or self.stage == LAST_STAGE


@dataclass(frozen=True, slots=True, kw_only=True)
class Reopening(Entry):
    """A signed build opened again: `sign_off` is the last one that no longer holds."""

    sign_off: str | None
    because: str


class Balance(NamedTuple):
    """The balance choices of a build: reciprocating factor [%], oil allowance per throw [mass]."""

    factor: Decimal | None
    oil: Quantity | None
    grade: str | None
    max_speed: Quantity | None
    leave: Decimal | None  # per cent of a correction left undone on purpose, since metal does not go back
    where: Where


class Limit(NamedTuple):
    """What a figure is held to: its bounds by name (min, max, within; front and rear for the residual)."""

    bounds: Mapping[str, Quantity]
    where: Where
    per_mm: Mapping[str, Decimal] = {}  # bounds that are a share of the diameter or bore
    ratios: Mapping[str, Decimal] = {}  # bounds of a figure that is a plain ratio
    source: str | None = None


class Build(NamedTuple):
    """One build of one engine: everything its folder says, with the engine's and the shop's own records."""

    name: str
    shop: Shop
    engine: Engine
    purpose: str | None
    use: str | None  # how the engine will be worked
    follows: str | None
    opened: Taken | None
    balance: Balance
    limits: Mapping[str, Limit]
    parts: tuple[Part, ...]
    weighings: tuple[WeighingSession, ...]
    pairings: Pairings
    spins: Spins
    intake_closes: Quantity | None  # after bottom dead centre
    clearances: tuple[MeasuringSession, ...]
    sign_offs: tuple[SignOff, ...]
    reopened: tuple[Reopening, ...]
    files: Mapping[str, Where]  # kind of file → its first line, whether it is there or not
