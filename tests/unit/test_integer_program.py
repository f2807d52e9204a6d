"""The solver of whole numbers: objectives one after the other, and what is told when its time is up."""

from __future__ import annotations

from typing import Any

import pytest
import scipy.optimize

from reelwright.winding import integer_program
from reelwright.winding.integer_program import Answer, InfeasibleError, IntegerProgram, NoAnswerError

OPTIMAL, OUT_OF_TIME = 0, 1  # as scipy.optimize.milp documents its status


def two_that_make_five() -> IntegerProgram:
    """Two columns of at most 4, whose sum is at least 5."""
    program = IntegerProgram()
    columns = [program.column(4), program.column(4)]
    program.row([(column, 1) for column in columns], at_least=5)
    return program


FEWER_OF_FIRST, FEWER_OF_SECOND = [(0, 1)], [(1, 1)]


class HurriedSolver:
    """In place of the solver: hands out these (status, numbers) in their order, and keeps the time it was given."""

    def __init__(self, *answers: tuple[int, list[float] | None]) -> None:
        self.answers = list(answers)
        self.seconds: list[float] = []

    def __call__(self, *_: Any, options: dict[str, float], **__: Any) -> scipy.optimize.OptimizeResult:
        self.seconds.append(options["time_limit"])
        status, x = self.answers.pop(0)
        return scipy.optimize.OptimizeResult(status=status, x=x)


def hurried(monkeypatch: pytest.MonkeyPatch, *answers: tuple[int, list[float] | None]) -> HurriedSolver:
    """Put such a solver in place, and stop the clock."""
    solver = HurriedSolver(*answers)
    monkeypatch.setattr(scipy.optimize, "milp", solver)
    monkeypatch.setattr(integer_program, "monotonic", lambda: 7.0)
    return solver


def test_the_second_objective_chooses_among_the_best_by_the_first() -> None:
    assert two_that_make_five().minimise([FEWER_OF_FIRST, FEWER_OF_SECOND], 60) == Answer((1, 4), proven=True)
    assert two_that_make_five().minimise([FEWER_OF_SECOND, FEWER_OF_FIRST], 60) == Answer((4, 1), proven=True)


@pytest.mark.parametrize("bounds", [{"at_least": 0}, {"at_most": 0}, {"at_least": -1, "at_most": 1}, {}], ids=str)
def test_a_row_without_columns_binds_nothing_where_nothing_keeps_it(bounds: dict[str, float]) -> None:
    program = two_that_make_five()
    program.row([], **bounds)
    assert program.minimise([FEWER_OF_FIRST], 60).values == (1, 4)


@pytest.mark.parametrize("bounds", [{"at_least": 1}, {"at_most": -1}], ids=str)
def test_a_row_without_columns_that_nothing_cannot_keep_has_no_answer(bounds: dict[str, float]) -> None:
    program = two_that_make_five()
    program.row([], **bounds)
    with pytest.raises(InfeasibleError):
        program.minimise([FEWER_OF_FIRST], 60)


def test_without_an_objective_nothing_can_be_best() -> None:
    with pytest.raises(ValueError, match="at least one objective"):
        two_that_make_five().minimise([], 60)


def test_out_of_time_at_a_later_objective_what_the_first_found_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    hurried(monkeypatch, (OPTIMAL, [1.0, 4.0]), (OUT_OF_TIME, None))
    assert two_that_make_five().minimise([FEWER_OF_FIRST, FEWER_OF_SECOND], 60) == Answer((1, 4), proven=False)


def test_out_of_time_at_the_first_objective_there_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    hurried(monkeypatch, (OUT_OF_TIME, None))
    with pytest.raises(NoAnswerError):
        two_that_make_five().minimise([FEWER_OF_FIRST], 60)


def test_a_worse_answer_by_the_later_objective_is_not_taken_for_a_better_one(monkeypatch: pytest.MonkeyPatch) -> None:
    hurried(monkeypatch, (OPTIMAL, [2.0, 3.0]), (OUT_OF_TIME, [2.0, 4.0]))
    assert two_that_make_five().minimise([FEWER_OF_FIRST, FEWER_OF_SECOND], 60) == Answer((2, 3), proven=False)


def test_one_objective_that_is_not_proven_leaves_the_answer_unproven(monkeypatch: pytest.MonkeyPatch) -> None:
    hurried(monkeypatch, (OUT_OF_TIME, [2.0, 3.0]), (OPTIMAL, [2.0, 3.0]))
    assert not two_that_make_five().minimise([FEWER_OF_FIRST, FEWER_OF_SECOND], 60).proven


@pytest.mark.parametrize(("seconds", "limit_s"), [(60, 60), (0, 0), (-1, 0)])
def test_the_solver_is_given_the_time_that_is_left_and_never_less_than_none(
    monkeypatch: pytest.MonkeyPatch, seconds: float, limit_s: float
) -> None:
    solver = hurried(monkeypatch, (OPTIMAL, [1.0, 4.0]))
    two_that_make_five().minimise([FEWER_OF_FIRST], seconds)
    assert solver.seconds == [limit_s]
