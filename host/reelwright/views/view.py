"""The one interface behind which the faces of a wind stand."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from types import TracebackType
    from typing import Self

    from reelwright.snapshot import Happening, Snapshot, WindResult


class View(Protocol):
    """Shows a wind. A context manager: what it took of the terminal, it gives back on every path.

    No method raises because of the output: when nobody reads any more, the view turns itself off, since a
    wind has to be followed and recorded whether or not it is looked at. Text may come from anywhere; each
    face makes it safe for its medium.
    """

    def __enter__(self) -> Self:
        """Begins to show."""

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Gives the terminal back."""

    def progress(self, snapshot: Snapshot) -> None:
        """Where the wind is. May be called at any rate; a face shows what its medium can take."""

    def silence(self) -> None:
        """Nothing is heard of the winder: what is shown is of the past, until the next progress."""

    def event(self, happening: Happening) -> None:
        """Something happened. Each one is shown."""

    def notice(self, text: str) -> None:
        """A remark of the host for the person."""

    def result(self, result: WindResult) -> None:
        """How the wind stands. Once, last."""
