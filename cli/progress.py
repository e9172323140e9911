"""A progress bar that keeps quiet until the work has proved long."""

from __future__ import annotations

import threading
import time
from types import TracebackType
from typing import TYPE_CHECKING, Self

if TYPE_CHECKING:
    from rich.progress import Progress, TaskID

PATIENCE = 2.0
"""Seconds before a bar appears."""


class LateBar:
    """Counts steps; draws a bar on stderr from `PATIENCE` seconds on and wipes it at the end."""

    def __init__(self, words: str, total: int, *, colour: bool = True) -> None:
        self._words = words
        self._total = total
        self._colour = colour
        self._done = 0
        self._began = time.monotonic()
        self._bar: Progress | None = None
        self._task: TaskID | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._bar is not None:
            self._bar.stop()

    def advance(self, steps: int = 1) -> None:
        """Count `steps` more as done."""
        self._done += steps
        if self._bar is None:
            if time.monotonic() - self._began < PATIENCE:
                return
            self._show()
        if self._bar is not None and self._task is not None:
            self._bar.update(self._task, completed=self._done)

    def _show(self) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

        self._bar = Progress(
            TextColumn("{task.description}", markup=False),
            BarColumn(),
            TextColumn("{task.completed} of {task.total}"),
            TimeRemainingColumn(),
            console=Console(stderr=True, no_color=not self._colour),
            transient=True,
        )
        self._task = self._bar.add_task(self._words, total=self._total)
        self._bar.start()


class LateWait:
    """Says what is being worked on, and for how long, from `PATIENCE` seconds on; then wipes it.

    For work that cannot count its steps: a clock of its own draws it, not the work.
    """

    def __init__(self, words: str, *, colour: bool = True) -> None:
        self._words = words
        self._colour = colour
        self._over = threading.Event()
        self._clock = threading.Thread(target=self._watch, daemon=True)

    def __enter__(self) -> Self:
        self._clock.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._over.set()
        self._clock.join()

    def _watch(self) -> None:
        if self._over.wait(PATIENCE):
            return
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

        with Progress(
            TextColumn("{task.description}", markup=False),
            BarColumn(),
            TimeElapsedColumn(),
            console=Console(stderr=True, no_color=not self._colour),
            transient=True,
        ) as bar:
            bar.add_task(self._words, total=None)
            self._over.wait()
