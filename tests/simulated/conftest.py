"""The bench that tests of restarts, lost words and lost jobs wind on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from simulated.lockstep import HostBench, small_bench

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@pytest.fixture
def bench(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[HostBench]:
    """A winder of the small job with one stop; the parameter plans its faults."""
    with small_bench(tmp_path, getattr(request, "param", ())) as bench:
        yield bench
