"""A layout as JSON: angles in degrees, places in mm behind throw 1."""

from buildbook.figures.layout import Drawn


def layout(drawn: Drawn, description: str | None, spelled: str) -> dict[str, object]:
    """The mapping, where things are as far as that is known, and when cylinders can fire and do."""
    of, fires = drawn.layout, drawn.firing
    return {
        "name": of.name,
        "description": description,
        "spelled": spelled,
        "banks": dict(of.banks),
        "throws": {
            name: {
                "angle": angle,
                "position": drawn.positions[name] if drawn.positions else None,
                "pins": [{"angle": pin.angle, "cylinders": list(pin.cylinders)} for pin in of.pins(name)],
            }
            for name, angle in of.throws.items()
        },
        "cylinders": {
            name: {"throw": each.throw, "bank": each.bank, "pin_angle": each.pin_angle % 360}
            for name, each in of.cylinders.items()
        },
        "main_bearings": drawn.main_bearings,
        "planes": dict(drawn.planes),
        "tops": [{"angle": top.angle, "cylinders": list(top.cylinders)} for top in drawn.tops],
        "could_fire_evenly": drawn.could_be_even,
        "firing": {
            "order": list(fires.angles),
            "angles": list(fires.angles.values()),
            "intervals": list(fires.intervals),
            "even": fires.is_even,
            "variant": fires.variant,
        }
        if fires
        else None,
    }
