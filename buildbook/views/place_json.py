"""The placing as JSON: unbalances in g·mm and in g at the planes' radii, angles as the machine counts them."""

from buildbook.figures import Figures
from buildbook.figures.balance import PLANES
from buildbook.figures.crankpins import ByThrow, Left
from buildbook.figures.place import PlaceFigures
from buildbook.views.as_json import grams


def place(figures: Figures, found: PlaceFigures) -> dict[str, object]:
    """`worst` and `bound` are of the larger plane, in the unit of `judged_by`: shares of the limit, or grams."""
    standing = found.before.standing
    return {
        "before": _left(figures, found.before),
        "after": _left(figures, found.after),
        "exchange": {"cylinders": list(found.exchange.cylinders), **_left(figures, found.exchange.left)}
        if found.exchange
        else None,
        "judged_by": found.judged_by,
        "bound": found.bound,
        "proven": found.proven,
        "ways": found.ways or None,
        "moved": found.moved,
        "worth": found.worth,
        "permissible": dict(standing.permissible) or None,
        "shop": dict(standing.shop) or None,
        "told": dict(found.told),
        "floor": dict(found.floor),
        "factor": grams(found.start.factor),
        "against": "as_set" if found.start.as_set else "target",
        "decided": found.decided,
        "anew": {name: grams(spread) for name, spread in found.anew._asdict().items()} if found.anew else None,
        "cylinders": {
            name: {
                **each.pieces,
                "was_in": each.was_in,
                "moved": list(each.moved),
                "carries": grams(each.carries),
            }
            for name, each in found.cylinders.items()
        },
        "by_throw": by_throw(figures, found.by_throw),
    }


def by_throw(figures: Figures, found: ByThrow) -> dict[str, object]:
    return {
        "throws": {
            name: {
                "cylinders": list(each.cylinders),
                "total": grams(each.total),
                "half": grams(each.half),
                "off": grams(each.more),
            }
            for name, each in found.throws.items()
        },
        "common": _left(figures, found.common),
        "own": _left(figures, found.own),
        "floor": dict(found.floor),
        "worth": found.worth,
    }


def _left(figures: Figures, left: Left) -> dict[str, object]:
    shown = figures.balance.shown(left.unbalance)
    planes = {
        plane: {
            "amount_gmm": abs(getattr(left.unbalance, plane)),
            "grams": shown[plane].amount,
            "angle": shown[plane].angle,
        }
        for plane in PLANES
    }
    return {**planes, "worst": left.worst, "over": left.over}
