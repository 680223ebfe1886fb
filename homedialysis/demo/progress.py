"""What a start is busy with, told on stderr: a bar on a terminal, one line a step elsewhere."""

from __future__ import annotations

import sys

from tqdm import tqdm

tqdm.monitor_interval = 0  # its watching thread would be in the way of starting processes


class Progress:
    """Counts the steps of a start; `tick` keeps the clock going while one of them takes its time."""

    def __init__(self, steps: int) -> None:
        self._terminal = sys.stderr.isatty()
        self._bar = tqdm(
            total=steps,
            file=sys.stderr,
            disable=not self._terminal,
            leave=False,
            bar_format="{desc:<36} {bar:30} {n_fmt}/{total_fmt} {elapsed}",
        )
        self._begun = False

    def step(self, what: str) -> None:
        """The step before this one is done."""
        if self._begun:
            self._bar.update()
        self._begun = True
        self._bar.set_description_str(what)
        if not self._terminal:
            sys.stderr.write(f"{what} …\n")
            sys.stderr.flush()

    def tick(self) -> None:
        self._bar.refresh()

    def step_aside(self) -> None:
        """For a step that shows a bar of its own."""
        self._bar.clear()

    def close(self) -> None:
        self._bar.close()
