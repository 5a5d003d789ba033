"""A trend as JSON: figures in their own unit, as numbers."""

from collections.abc import Mapping

from buildbook.figures.trend import Change, Point, changes
from buildbook.fits.decision import COVERAGE
from buildbook.views.fits_json import limit


def trend(
    figure: str, unit: str, trends: Mapping[str, Mapping[str, Point | None]], opened: Mapping[str, str | None]
) -> dict[str, object]:
    """The points of each figure that is followed in their order; a build without the figure has no value."""
    return {
        "figure": figure,
        "unit": unit,
        "points": [
            {"figure": followed, "build": name, "opened": opened[name], **_values(each), **_change(change)}
            for followed, points in trends.items()
            for (name, each), change in zip(points.items(), changes([*points.values()]), strict=True)
        ],
    }


def _values(each: Point | None) -> dict[str, object]:
    if each is None:
        names = ("value", "uncertainty", "expanded_uncertainty", "least", "most", "places", "limit")
        return dict.fromkeys(names)
    bounds = each.limit
    return {
        "value": float(each.value),
        "uncertainty": each.uncertainty,
        "expanded_uncertainty": None if each.uncertainty is None else COVERAGE * each.uncertainty,
        "least": float(each.least),
        "most": float(each.most),
        "places": each.places,
        "limit": limit(bounds) if bounds else None,
    }


def _change(change: Change | None) -> dict[str, object]:
    if change is None:
        return {"change": None, "change_uncertainty": None, "significant": None}
    return {
        "change": float(change.amount),
        "change_uncertainty": change.uncertainty,
        "significant": change.significant,
    }
