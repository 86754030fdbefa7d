"""A computer whose clocks the test sets: wall, time since boot, time server, battery, power.

Must not do: pass time by itself.
"""

from __future__ import annotations

from collector.hands import Hands


class Computer:
    """One computer; ``true_ms`` is the time outside, which it does not know by itself."""

    def __init__(self, true_ms: int = 1_800_000_000_000, *, battery: bool = False) -> None:
        self.true_ms, self.battery = true_ms, battery
        self.boots, self.boot_ms, self.synced = 1, 1_000_000, False
        self.error_ms = 0

    @property
    def wall_ms(self) -> int:
        """What its wall clock says."""
        return self.true_ms + self.error_ms

    def hands(self) -> Hands:
        """Its clocks, as the collector reads them; made anew after a boot."""
        return Hands(
            lambda: self.wall_ms, lambda: self.boot_ms, lambda: self.synced, f"boot-{self.boots}", self.battery
        )

    def wait(self, ms: int) -> None:
        """Time passes."""
        self.true_ms += ms
        self.boot_ms += ms

    def set_back(self, ms: int) -> None:
        """Somebody sets the wall clock back, or forward by a negative number."""
        self.error_ms -= ms

    def power_cut(self, ms: int, wakes_at_ms: int | None = None) -> None:
        """Off for so long; the wall clock then begins at ``wakes_at_ms``, with a battery it goes on."""
        self.true_ms += ms
        self.boots, self.boot_ms, self.synced = self.boots + 1, 8_000, False
        if wakes_at_ms is not None:
            self.error_ms = wakes_at_ms - self.true_ms

    def time_server(self) -> None:
        """The network is back, and the clock is set right."""
        self.error_ms, self.synced = 0, True
