"""Where a figure came from, as JSON: every step and every reading behind it, in the vocabulary of the files."""

from typing import TYPE_CHECKING

from buildbook.figures import Figures
from buildbook.figures.named import named_figures
from buildbook.figures.trace_steps import Earlier, Source, Step
from buildbook.records.finding import Where
from buildbook.records.model import Entry
from buildbook.views.trace import Behind

if TYPE_CHECKING:
    from buildbook.book.blame import Kept


def trace(figures: Figures, step: Step, behind: Behind) -> dict[str, object]:
    """The steps, the figure itself first and then in order of depth."""
    return {"trace": {"steps": [_step(figures, each, behind) for each in step.steps()], "not_kept": behind.not_kept}}


def names(figures: Figures, part: str) -> dict[str, object]:
    """Every figure that can be traced, with its value."""
    return {
        "named": {
            name: {"value": float(each.value), "uncertainty": each.uncertainty, "unit": each.unit or None}
            for name, each in named_figures(figures).items()
            if part in name
        }
    }


def _step(figures: Figures, step: Step, behind: Behind) -> dict[str, object]:
    return {
        "name": step.name,
        "value": float(step.value),
        "uncertainty": step.uncertainty,
        "unit": step.unit or None,
        "formula": step.formula,
        "with_values": step.with_values,
        "note": step.note or None,
        "inputs": [each.name for each in step.inputs],
        "between": list(step.between),
        "readings": [_source(figures, each, behind) for each in step.sources],
        "limit": _source(figures, step.limit, behind) if step.limit else None,
    }


def _source(figures: Figures, source: Source, behind: Behind) -> dict[str, object]:
    where = behind.at.get((source.where, source.field), source.where) if source.where else None
    kept = behind.kept.get((source.where, source.field)) if source.where else None
    return {
        "what": source.what,
        "place": source.place or None,
        "values": list(source.values),
        "unit": source.unit or None,
        "said_by": source.said_by,
        **_record(figures, source.entry, where),
        **_kept(kept),
        "changed": {
            "commit": kept.changed.commit.sha,
            "kept_by": kept.changed.commit.author,
            "kept_at": kept.changed.commit.when.isoformat(),
            "was": kept.changed.was,
        }
        if kept and kept.changed
        else None,
        "differs_from_git": kept.differs if kept else None,
        "in_git": kept.in_git if kept else None,
        "earlier": [_earlier(figures, each, behind) for each in source.earlier],
    }


def _earlier(figures: Figures, each: Earlier, behind: Behind) -> dict[str, object]:
    voided = behind.kept.get((each.entry.where, ("void",)))
    change = voided.changed if voided else None
    return {
        "values": list(each.values),
        "unit": each.unit or None,
        **_record(figures, each.entry, each.where),
        "void": each.entry.void,
        **_kept(behind.kept.get((each.where, ()))),
        "voided_by": change.commit.author if change else None,
        "voided_in": change.commit.sha if change else None,
    }


def _record(figures: Figures, entry: Entry | None, where: Where | None) -> dict[str, object]:
    """The record that something stands in: its own account of who, when and with what."""
    shop = figures.build.shop
    instrument = shop.instruments.get(entry.with_ or "") if entry else None
    held = instrument.calibrations if instrument else ()
    day = entry.taken.day if entry and entry.taken else None
    # the calibration that was in force on the day; the last one where none was
    running = [(done, due) for done, due in held if day and (done is None or done.day <= day)]
    done, due = (running or [*held] or [(None, None)])[-1]
    return {
        "session": entry.id if entry else None,
        "file": where.file if where else None,
        "line": where.line if where else None,
        "taken": entry.taken.text if entry and entry.taken else None,
        "by": entry.by if entry else None,
        "with": entry.with_ if entry else None,
        "calibrated": done.text if done else None,
        "calibration_due": due.text if due else None,
        "in_calibration": instrument.in_calibration(day) if instrument and day else None,
        "note": entry.note if entry else None,
    }


def _kept(kept: "Kept | None") -> dict[str, object]:
    brought = kept.brought if kept else None
    return {
        "commit": brought.sha if brought else None,
        "kept_by": brought.author if brought else None,
        "kept_at": brought.when.isoformat() if brought else None,
        "subject": brought.subject if brought else None,
    }
