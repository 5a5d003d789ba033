"""The timeline as JSON: one object for each thing that happened."""

from collections.abc import Mapping, Sequence

from buildbook.figures.timeline import Event


def history(engine: str, lives: Mapping[str, Sequence[Event]]) -> list[dict[str, object]]:
    """What happened to each build, and to the engine's own file (`build` is None), in the order of time."""
    return [
        {
            "when": event.when.text if event.when else None,
            "who": event.who,
            "by": event.by,
            "what": event.what,
            "of": event.of,
            "build": None if name == engine else name,
            "file": event.file,
            "record": event.record,
            "how": event.how,
            "note": event.note,
            "void": event.void,
            "commit": event.commit,
            "in_the_book_since": event.late.when.isoformat(timespec="minutes") if event.late else None,
            "brought_by": event.late.sha if event.late else None,
        }
        for name, events in lives.items()
        for event in events
    ]
