"""Which measurements count as given before, and what a strand's figures rest on afterwards."""

from __future__ import annotations

import pytest

from reelwright.winding.calibration import FittedValue
from reelwright.winding.calibration_evidence import Kept, Repetition, evidence_after, repetition_of


def measured(number: int, evidence: str, *, left_out: bool = False) -> FittedValue:
    name = evidence.partition(":")[0]
    return FittedValue(number, name, "", 0.0, 1.0, 0.0, None, left_out, stands_out=False, evidence=evidence)


def kept(evidence: str, date: str = "2031-05-04", profile: str = "amber") -> Kept:
    return Kept(evidence, profile, date)


READINGS = [measured(1, "diameter: 1.74 mm"), measured(2, "diameter: 1.75 mm")]
MASS = measured(3, "mass: 118.6 g, 165 turns, job 12")
OLD_READINGS = [kept("diameter: 1.74 mm"), kept("diameter: 1.75 mm")]
OLD_MASS = kept("mass: 118.6 g, 165 turns, job 12", "2031-06-01", "blue")


class TestRepetition:
    def test_a_mass_that_is_kept_is_given_again(self) -> None:
        assert repetition_of([*READINGS, MASS], [OLD_MASS]) == Repetition((3,), "blue", "2031-06-01")
        assert repetition_of([MASS], [kept("mass: 118.7 g, 165 turns, job 12")]) is None

    @pytest.mark.parametrize(
        ("one", "other", "same"),
        [
            (", job 12", ", job 12", True),
            (", job 12", ", job 13", False),
            (", job 12", "", True),
            ("", ", job 12", True),
        ],
    )
    def test_equal_figures_of_two_jobs_are_two_measurements_where_both_jobs_are_known(
        self, one: str, other: str, same: bool
    ) -> None:
        found = repetition_of([measured(1, f"length: 40 m, 165 turns{one}")], [kept(f"length: 40 m, 165 turns{other}")])
        assert (found is not None) is same

    @pytest.mark.parametrize(
        ("given", "there", "same"),
        [
            ("mass: 118.6 g, 165 turns, job 12", "mass: 118.6 g", True),  # as profiles of before have it
            ("mass: 118.6 g, 165 turns", "mass: 118.6 g, 164 turns", False),
            ("mass: 118.6 g, 165 turns", "length: 118.6 m", False),
            ("outer diameter over layer 5: 97 mm, job 12", "outer diameter over layer 5: 97 mm", True),
            # as older ones have it of a file of several winds, whose order says nothing
            ("mass: 118.6 g, 165 turns", "mass of wind 2: 118.6 g", True),
            ("mass: 118.6 g, 165 turns", "mass of wind 2: 118.7 g", False),
            ("mass: 118.6 g, 165 turns", "length of wind 2: 118.6 g", False),
            ("outer diameter over layer 5: 97 mm", "outer diameter over layer 5 of wind 12: 97 mm", True),
            ("outer diameter over layer 5: 97 mm", "outer diameter over layer 6 of wind 5: 97 mm", False),
        ],
    )
    def test_a_line_that_names_no_turns_is_of_any(self, given: str, there: str, same: bool) -> None:
        assert (repetition_of([measured(1, given)], [kept(there)]) is not None) is same
        after = evidence_after([measured(1, given)], [kept(there)])
        assert after == ([there] if same else [there, given])

    def test_of_several_the_last_date_is_told(self) -> None:
        older = kept("outer diameter over layer 5: 97 mm", "2031-05-04", "zinc")
        values = [MASS, measured(4, "outer diameter over layer 5: 97 mm")]
        for all_kept in ([OLD_MASS, older], [older, OLD_MASS]):
            assert repetition_of(values, all_kept) == Repetition((3, 4), "blue", "2031-06-01")

    def test_readings_are_given_again_only_all_together_and_alone(self) -> None:
        assert repetition_of(READINGS, OLD_READINGS) == Repetition((1, 2), "amber", "2031-05-04")
        assert repetition_of(READINGS, [OLD_READINGS[0]._replace(profile="first"), OLD_READINGS[1]]) == (
            Repetition((1, 2), "first", "2031-05-04")
        )
        assert repetition_of(READINGS, OLD_READINGS[:1]) is None
        assert repetition_of([*READINGS, measured(3, "mass: 99 g, 165 turns")], OLD_READINGS) is None

    def test_a_mass_beside_readings_is_given_again_by_itself(self) -> None:
        assert repetition_of([*READINGS, MASS], [*OLD_READINGS, OLD_MASS]) == Repetition((3,), "blue", "2031-06-01")

    def test_what_is_left_out_is_not_given_at_all(self) -> None:
        assert repetition_of([MASS._replace(left_out=True)], [OLD_MASS]) is None


class TestAfter:
    def test_readings_alone_replace_all_that_was_kept(self) -> None:
        assert evidence_after(READINGS, [*OLD_READINGS, OLD_MASS]) == [value.evidence for value in READINGS]

    def test_readings_beside_a_wind_replace_readings_and_leave_the_winds_before(self) -> None:
        length = measured(3, "length: 40 m, 165 turns")
        assert evidence_after([*READINGS, length], [kept("diameter: 1.71 mm"), OLD_MASS]) == [
            OLD_MASS.evidence,
            *(value.evidence for value in READINGS),
            length.evidence,
        ]

    def test_a_wind_alone_adds_to_readings_and_winds(self) -> None:
        length = measured(1, "length: 40 m, 165 turns")
        before = [*OLD_READINGS, OLD_MASS]
        assert evidence_after([length], before) == [*(each.evidence for each in before), length.evidence]

    def test_what_is_given_again_is_kept_once_and_what_is_left_out_is_not(self) -> None:
        length = measured(4, "length: 40 m, 165 turns", left_out=True)
        assert evidence_after([MASS, length], [OLD_MASS]) == [MASS.evidence]
        assert evidence_after([length], [OLD_MASS]) == [OLD_MASS.evidence]
