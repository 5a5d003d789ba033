"""Engine layouts: which cylinder hangs on which crankpin, and at what angle each stands.

Angles are in degrees. Banks and throws count the same way round, seen from the front: a bank from vertical, a throw
from where throw 1 stands up. With the crankshaft turned by θ the piston of a cylinder is at the top of its travel
when θ + pin angle = bank angle. Throws are listed from the front.
"""

import re
from cmath import rect
from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite, radians
from typing import NamedTuple

from buildbook.quantities import in_numbered_order


class LayoutError(ValueError):
    """A layout that is not known, or that does not hold together.

    `nearest` holds known names close to the one asked for; `at` the keys that lead to the fault in a spelled layout.
    """

    def __init__(self, message: str, *, nearest: tuple[str, ...] = (), at: tuple[str, ...] = ()) -> None:
        super().__init__(message)
        self.nearest = nearest
        self.at = at


class Pin(NamedTuple):
    """One crankpin: its angle [deg] and the cylinders whose rods run on it."""

    angle: float
    cylinders: tuple[str, ...]


class Cylinder(NamedTuple):
    """One cylinder: the throw it hangs on, its bank's angle [deg] and its crankpin's angle [deg]."""

    name: str
    throw: str
    bank: str
    bank_angle: float
    pin_angle: float


@dataclass(frozen=True, slots=True)
class Layout:
    """Banks and throws with their angles [deg], and the cylinders in the order of their numbers."""

    name: str | None
    banks: Mapping[str, float]
    throws: Mapping[str, float]
    cylinders: Mapping[str, Cylinder]

    def pins(self, throw: str) -> tuple[Pin, ...]:
        """The crankpins of a throw: one as a rule, two where the pin is split."""
        carried: dict[float, list[str]] = {}
        for cylinder in self.cylinders.values():
            if cylinder.throw == throw:
                carried.setdefault(cylinder.pin_angle % 360, []).append(cylinder.name)
        return tuple(Pin(angle, tuple(names)) for angle, names in carried.items())


class Plan(NamedTuple):
    """How a known layout expands: each throw carries a rod of every bank, or of one bank after the other.

    `split` [deg] is the angle from the right bank's crankpin to the left bank's; the throw stands midway.
    """

    said: str  # in plain words
    banks: Mapping[str, float]
    throws: tuple[float, ...]
    split: float = 0
    own_throws: bool = False


def _vee(angle: float) -> dict[str, float]:
    return {"left": -angle / 2, "right": angle / 2}


_INLINE = {"inline": 0.0}
_FLAT = _vee(180)
_FIVE = (0, 216, 144, 72, 288)
_SIX = (0, 240, 120, 120, 240, 0)
_EIGHT_CROSS = (0, 90, 270, 180)
_FOUR_FLAT = (0, 180, 180, 0)

# The throws of V engines that are known at any angle, with common or with split pins, by their cylinders.
_VEES: Mapping[int, tuple[float, ...]] = {2: (0,), 4: (0, 180), 6: (0, 240, 120)}
ANY_ANGLE = tuple(f"v{cylinders}_ANGLE_{pins}" for cylinders in _VEES for pins in ("common_pin", "split_pin_OFFSET"))


def _vee_plan(cylinders: int, angle: float, split: float = 0) -> Plan:
    if cylinders == 2:
        said, pins = "V-twin", f"its two pins {split:g}° apart" if split else "both rods on one pin"
    else:
        said, pins = f"V{cylinders}", f"the two pins of a throw {split:g}° apart" if split else "two rods on each pin"
    return Plan(f"{said} of {angle:g}°, {pins}", _vee(angle), _VEES[cylinders], split)


KNOWN: Mapping[str, Plan] = {
    "single": Plan("single cylinder", _INLINE, (0,)),
    "i2_180": Plan("parallel twin, one piston up as the other is down", _INLINE, (0, 180)),
    "i2_270": Plan("parallel twin, the second piston on top 270° after the first", _INLINE, (0, 90)),
    "i2_360": Plan("parallel twin, the pistons side by side", _INLINE, (0, 0)),
    "i3": Plan("inline three", _INLINE, (0, 240, 120)),
    "i4": Plan("inline four, flat-plane crankshaft", _INLINE, _FOUR_FLAT),
    "i4_cross_plane": Plan("inline four, cross-plane crankshaft", _INLINE, _EIGHT_CROSS),
    "i5": Plan("inline five", _INLINE, _FIVE),
    "i6": Plan("inline six", _INLINE, _SIX),
    "v2_45_common_pin": _vee_plan(2, 45),
    "v2_45_split_pin_90": _vee_plan(2, 45, 90),
    "v2_60_common_pin": _vee_plan(2, 60),
    "v2_90_common_pin": _vee_plan(2, 90),
    "v4_60_split_pin_120": _vee_plan(4, 60, 120),
    "v4_90": _vee_plan(4, 90),
    "v6_60_common_pin": _vee_plan(6, 60),
    "v6_60_split_pin_60": _vee_plan(6, 60, 60),
    "v6_90_common_pin": _vee_plan(6, 90),
    "v6_90_split_pin_30": _vee_plan(6, 90, 30),
    "v8_90_cross_plane": Plan("V8 of 90°, cross-plane crankshaft", _vee(90), _EIGHT_CROSS),
    "v8_90_flat_plane": Plan("V8 of 90°, flat-plane crankshaft", _vee(90), _FOUR_FLAT),
    "v10_72_common_pin": Plan("V10 of 72°, two rods on each pin", _vee(72), _FIVE),
    "v10_90_common_pin": Plan("V10 of 90°, two rods on each pin", _vee(90), _FIVE),
    "v10_90_split_pin_18": Plan("V10 of 90°, the two pins of a throw 18° apart", _vee(90), _FIVE, split=-18),
    "v12_60": Plan("V12 of 60°, two rods on each pin", _vee(60), _SIX),
    "flat_2": Plan("flat twin (boxer), each cylinder on its own throw", _FLAT, (0, 180), own_throws=True),
    "flat_4": Plan("flat four (boxer), each cylinder on its own throw", _FLAT, _FOUR_FLAT, own_throws=True),
    "flat_6": Plan(
        "flat six (boxer), each cylinder on its own throw", _FLAT, (0, 180, 240, 60, 120, 300), own_throws=True
    ),
}

_NUMBER = "([0-9]{1,3}(?:\\.[0-9]+)?)"
_vee_of_any_angle = re.compile(rf"v([246])_{_NUMBER}_(?:common_pin|split_pin_{_NUMBER})").fullmatch


def plan_of(name: str) -> Plan:
    """What a known name stands for: one of KNOWN, or a V2, V4 or V6 of any angle up to 180°, `v2_52_common_pin`, or
    with its two pins less than 180° apart, `v2_52_split_pin_76`. Raises LayoutError, with the nearest names."""
    plan = KNOWN.get(name)
    if plan is None and (vee := _vee_of_any_angle(name)):
        cylinders, angle, split = int(vee[1]), float(vee[2]), float(vee[3]) if vee[3] else None
        if 0 < angle <= 180 and (split is None or 0 < split < 180):
            plan = _vee_plan(cylinders, angle, split or 0)
    if plan is None:
        nearest = _nearest(name)
        offer = f"nearest: {', '.join(nearest)}" if nearest else f"known: {', '.join(KNOWN)}"
        raise LayoutError(f"no layout is called {name!r}; {offer}", nearest=nearest)
    return plan


def _nearest(name: str) -> tuple[str, ...]:
    """A few known names that begin like the one asked for, or are said in its words, or else look like it."""
    from difflib import get_close_matches

    asked = name.casefold().replace(" ", "_").replace("-", "_")
    said = {known: plan.said.casefold().replace("-", "_").replace(" ", "_") for known, plan in KNOWN.items()}
    alike = [known for known in KNOWN if asked and known.startswith(asked)]
    alike = alike or [known for known in KNOWN if len(asked) > 2 and asked in said[known]]
    return tuple(alike[:6] or get_close_matches(asked, KNOWN))


def known_layout(name: str) -> Layout:
    """The layout that a known name stands for, as in `plan_of`.

    Cylinders are numbered from the front, left bank first. Raises LayoutError, with the nearest names, for any other.
    """
    plan = plan_of(name)
    banks = list(plan.banks)
    rods = 1 if plan.own_throws else len(banks)
    throws: dict[str, tuple[float, dict[str, str | tuple[str, float]]]] = {}
    for index, angle in enumerate(plan.throws):
        carried: dict[str, str | tuple[str, float]] = {}
        for place in range(rods):
            number = index * rods + place
            pin_angle = (angle + plan.split * (0.5 - place)) % 360 if plan.split else angle
            carried[str(number + 1)] = (banks[number % len(banks)], pin_angle)
        throws[str(index + 1)] = (angle, carried)
    return spelled_layout(plan.banks, throws, name=name)


def spelled_layout(
    banks: Mapping[str, float],
    throws: Mapping[str, tuple[float, Mapping[str, str | tuple[str, float]]]],
    *,
    name: str | None = None,
) -> Layout:
    """A layout from its mapping: bank → angle [deg], and throw → its angle [deg] with its cylinders.

    A cylinder gives its bank, or its bank with its own crankpin angle [deg] where the pin is split. Raises LayoutError
    for an unknown bank, a cylinder on two throws, a throw without cylinders, or an angle that is not finite.
    """
    for bank, bank_angle in banks.items():
        _check_angle(bank_angle, ("banks", bank))
    if not throws:
        raise LayoutError("a layout has at least one throw", at=("throws",))
    cylinders: dict[str, Cylinder] = {}
    for throw, (angle, carried) in throws.items():
        _check_angle(angle, ("throws", throw, "angle"))
        if not carried:
            raise LayoutError(f"throw {throw} carries no cylinder", at=("throws", throw, "cylinders"))
        for cylinder, place in carried.items():
            bank, pin_angle = (place, angle) if isinstance(place, str) else place
            at = ("throws", throw, "cylinders", cylinder)
            _check_angle(pin_angle, at)
            if bank not in banks:
                raise LayoutError(f"cylinder {cylinder} is in bank {bank!r}; the banks are {', '.join(banks)}", at=at)
            if cylinder in cylinders:
                other = cylinders[cylinder].throw
                raise LayoutError(f"cylinder {cylinder} is on throw {other} and on throw {throw}", at=at)
            cylinders[cylinder] = Cylinder(cylinder, throw, bank, banks[bank], pin_angle)
    return Layout(
        name,
        dict(banks),
        {throw: angle for throw, (angle, _) in throws.items()},
        {cylinder: cylinders[cylinder] for cylinder in sorted(cylinders, key=in_numbered_order)},
    )


def _check_angle(angle: float, at: tuple[str, ...]) -> None:
    if not isfinite(angle):
        raise LayoutError(f"an angle of {angle} is not a direction", at=at)


def bobweights_wanted(layout: Layout) -> tuple[bool, str]:
    """Whether a crankshaft is spun with bobweights, and why, in words for the builder.

    Equal weights on all crankpins change no reading in any two planes when Σ e^(iφ) = 0 (no force) and
    Σ z e^(iφ) = 0 (no couple), φ being the crankpin angles and z their places along the crankshaft (Norton, Design
    of Machinery, ch. 12, from memory). Throws are taken as equally spaced; the two pins of a split pin as side by
    side at any distance. The answer holds only for equal weights: where throws or pins carry different numbers of
    rods they cannot be equal, and bobweights are wanted.
    """
    pins = {throw: layout.pins(throw) for throw in layout.throws}
    pins_a_throw = {len(on_throw) for on_throw in pins.values()}
    rods_a_pin = {len(pin.cylinders) for on_throw in pins.values() for pin in on_throw}
    if len(pins_a_throw) > 1 or len(rods_a_pin) > 1:
        return True, (
            "The throws and their crankpins do not all carry the same number of rods, so their weights differ. "
            "Each throw gets the bobweight of the parts it will carry."
        )

    force = couple = couple_within_throws = 0j
    for position, on_throw in enumerate(pins.values()):
        for place, pin in enumerate(on_throw):
            direction = rect(1, radians(pin.angle))
            force += direction
            couple += position * direction
            couple_within_throws += place * direction
    if abs(force) > 1e-9:
        return True, (
            "Equal weights on these crankpins pull to one side. "
            "The counterweights answer for that, so they are judged with the bobweights hung."
        )
    if abs(couple) > 1e-9 or abs(couple_within_throws) > 1e-9:
        return True, (
            "Equal weights on these crankpins cancel all round but not end to end: they rock the crankshaft. "
            "The counterweights answer for that, so they are judged with the bobweights hung."
        )
    return False, (
        "Equal weights on these crankpins cancel all round and end to end, so equal bobweights would change no reading "
        "and the crankshaft is spun without. This holds only while every throw carries the same weight."
    )
