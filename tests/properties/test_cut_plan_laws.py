"""What holds for the jobs that a cut list comes to, whatever the spools are said to hold."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hypothesis import given, settings
from hypothesis import strategies as st

from reelwright.winding.cut_list import CutRules
from reelwright.winding.cut_plan import CutList, PayOffSpool, WantedLength, joins_apart, winding_steps
from reelwright.winding.cut_solver import cut
from reelwright.winding.job import PayOff
from reelwright.winding.source import check_source
from winding_jobs import job_of

if TYPE_CHECKING:
    from reelwright.winding.job import Job

SECONDS = 5.0
SPOOLS = st.tuples(st.floats(20, 150), st.sampled_from([0.0, 0.1, 1 / 3, 1.7]))


def job(length_m: float, leader_m: float) -> Job:
    return job_of(target={"length_m": length_m, "leader_m": leader_m})


@settings(max_examples=40, deadline=None)
@given(
    st.lists(SPOOLS, min_size=1, max_size=3),
    st.lists(st.floats(0.5, 60), min_size=1, max_size=4),
    st.sampled_from([0.0, 0.7]),
    st.booleans(),
)
def test_every_step_finds_surely_what_it_plans_to_take_and_pauses_at_its_joins(
    spools: list[tuple[float, float]], lengths_m: list[float], leader_m: float, uses_all: bool
) -> None:
    wanted = [WantedLength("", job(length_m, leader_m), 2) for length_m in lengths_m]
    strand = wanted[0].job.strand
    pay_offs = []
    for held_m, held_u_m in spools:
        pay_off = PayOff(held_m=held_m, held_u_m=held_u_m)
        check = check_source(pay_off, strand, 0.0)
        assert check is not None
        pay_offs.append(PayOffSpool("", pay_off, strand, check))
    if uses_all:  # to the last millimetre of what can surely be counted off the first spool
        most_m = CutList(CutRules(), tuple(pay_offs), tuple(wanted)).sure_mm(0) / 1000
        wanted = [WantedLength("", job(round(max(most_m - leader_m, 0.5), 3), leader_m), 0), *wanted]
    cut_list = CutList(CutRules(), tuple(pay_offs), tuple(wanted))
    cutting = cut(cut_list.problem(), SECONDS)
    if cutting is None:
        return
    steps = winding_steps(cut_list, cutting)
    for step, length in zip(steps, wanted, strict=True):
        assert step.job.target.length_m == length.job.target.length_m
        assert joins_apart(step)
        if len(step.pieces) == 1:
            source = step.plan.source
            assert source is not None
            assert source.verdict == "enough"
        # the pieces lie end to end, from nothing to the wanted length rounded up to a whole millimetre
        ends = [piece.to_m for piece in step.pieces]
        assert [piece.from_m for piece in step.pieces] == [0.0, *ends[:-1]]
        assert -1e-9 < ends[-1] - length.job.target.length_m < 0.001 + 1e-9
