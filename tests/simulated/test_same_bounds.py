"""What result, ledger and resumption say of one spool has the same bounds, by the same rule."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from reelwright.cli.agreement import proposal_of, told
from reelwright.errors import EXIT_PAUSED, EXIT_TRIPPED
from reelwright.operation.recorded import as_it_stands
from reelwright.views.wording import facts_of
from simulated.power_cuts import power_fails

if TYPE_CHECKING:
    from reelwright.operation.resume import Rejoin
    from reelwright.snapshot import WindResult
    from simulated.lockstep import HostBench


def known(bench: HostBench) -> WindResult:
    """What the ledger's commands say."""
    told = as_it_stands(bench.ledger.winds()[0], bench.ledger).known
    assert told is not None
    return told


def shown(bench: HostBench) -> tuple[float, float]:
    """The turns between which the ledger's commands say that the spool is."""
    highest = known(bench).turns_highest
    assert highest is not None
    return known(bench).turns_lowest, highest


def is_told_alike(bench: HostBench, rejoin: Rejoin) -> bool:
    """Whether result, ledger and resumption name the same turns where the spool most likely stands."""
    proposed = f"{proposal_of(rejoin, None).turns:.2f}"
    line = dict(facts_of(known(bench)))["turns"]
    resumption = " ".join(told(rejoin, proposal_of(rejoin, None)))
    about = f"about {proposed}"
    return line.startswith(f"{about}, and between ") and f"So the spool has {about} turns" in resumption


@pytest.mark.parametrize("bench", [(("power_cut", 9.0),)], indirect=True)
def test_a_restart_that_was_noticed_soon_bounds_what_the_ledger_shows_as_what_a_resumption_tells(
    bench: HostBench,
) -> None:
    assert bench.wind() == EXIT_TRIPPED
    result = bench.view.results[-1]
    _, rejoin = bench.find()
    assert rejoin.heard.silent_s is not None
    ends = tuple(bench.plan.turns_at(end) for end in rejoin.by_ledger.ends)
    assert (result.turns_lowest, result.turns_highest) == shown(bench) == ends
    # the winder knows no more than where the motion began, so that both of them say the same
    assert rejoin.standing.ends == rejoin.by_ledger.ends
    assert is_told_alike(bench, rejoin)
    assert result.turns_likely == known(bench).turns_likely
    assert not any("ledger alone" in line for line in told(rejoin, proposal_of(rejoin, None)))


@pytest.mark.parametrize("bench", [(("soft_reset", 9.0),)], indirect=True)
def test_where_the_winder_knows_more_the_resumption_says_so(bench: HostBench) -> None:
    assert bench.wind() == EXIT_TRIPPED
    _, rejoin = bench.find()
    lowest, highest = shown(bench)
    assert rejoin.standing.highest < rejoin.by_ledger.highest
    about = known(bench).turns_likely
    line = f"The ledger alone says about {about:.2f}, and between {lowest:.2f} and {highest:.2f} turns"
    assert any(each.startswith(line) for each in told(rejoin, proposal_of(rejoin, None)))


def test_a_wind_whose_host_died_is_shown_as_a_resumption_would_find_it(bench: HostBench) -> None:
    assert bench.wind() == EXIT_PAUSED
    bench.go_on_and_leave()
    bench.winder.pass_periods(200)
    bench.winder.board.store._slots = [b"", b""]
    power_fails(bench)
    _, rejoin = bench.find()
    assert rejoin.memory is None
    assert shown(bench) == tuple(bench.plan.turns_at(end) for end in rejoin.standing.ends)
    assert shown(bench)[1] > shown(bench)[0]
    assert is_told_alike(bench, rejoin)
