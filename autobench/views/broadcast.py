"""Every event of a run to its record and its views. It decides nothing and changes no event."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from autobench.errors import RecordError
from autobench.events import Event, Notice, PromptProgress
from autobench.run.stop import StopSignals
from autobench.views.run_state import RunState, fold

if TYPE_CHECKING:
    from autobench.record.store import RunRecord

View = Callable[[Event], None]


class Broadcast:
    """Hands every event to the record, then to the views, and keeps the folded state: what is shown is kept.

    Without a record nothing is kept beside the state: a rehearsal has none.
    A record that fails, however it does, is told once and left alone afterwards: by `RecordError`, or, while outputs
    are made safe, by a wish to stop, since nothing may break into that. A view that fails is dropped and noted.
    """

    def __init__(self, record: RunRecord | None, views: Sequence[View], stop: StopSignals) -> None:
        self.state = RunState()
        self.lost: RecordError | None = None
        self._record = record
        self._views = list(views)
        self._stop = stop

    def join(self, view: View) -> None:
        """One more view, from now on."""
        self._views.append(view)

    def emit(self, event: Event) -> None:
        """One event to everybody; what is for the eye only goes to the views alone."""
        self.state = fold(self.state, event)
        lost = self._kept(event)
        dropped = [view for view in self._views if not shown_by(view, event)]
        self._views = [view for view in self._views if view not in dropped]
        if dropped:
            self.emit(Notice(event.at, "the display failed and was dropped; the round goes on"))
        if lost is not None:
            self._stop.reason = self._stop.reason or str(lost)
            if not self._stop.making_safe:
                raise lost

    def _kept(self, event: Event) -> RecordError | None:
        """The event in the record; what went wrong, if it did so now."""
        if self._record is None or isinstance(event, PromptProgress):
            return None
        try:
            self._record.write(event)
        except Exception as error:  # whatever it is, switching off must not stumble over it
            self._record = None
            words = f"the record failed: {type(error).__name__}: {error}"
            self.lost = error if isinstance(error, RecordError) else RecordError(words)
            return self.lost
        return None


def shown_by(view: View, event: Event) -> bool:
    """Whether `view` took the event; whatever a view raises is its own affair and must not end a run."""
    try:
        view(event)
    except Exception:
        return False
    return True
