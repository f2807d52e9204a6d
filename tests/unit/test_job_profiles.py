"""Jobs from profiles, and from flags laid over a file: which value goes before which."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

import pytest

from job_files import GOOD, faults_of, file_of
from reelwright.errors import FileFaultsError
from reelwright.profiles import KINDS, build_job, load_job, profile_names
from reelwright.winding.plan import make_plan
from winding_jobs import job_of, job_tables

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.usefixtures("own_profiles")


def test_every_built_in_spool_strand_and_machine_makes_a_sound_plan() -> None:
    for spool in profile_names("spool"):
        for strand in profile_names("strand"):
            job = job_of(take_up={"spool": spool} | no_size(), strand={"profile": strand} | no_strand())
            assert job.strand.density_g_cm3 is not None
    pairs = {
        "bench-dc": "kilo",
        "bench-hand": "half-kilo",
        "bench-stepper": "kilo",
        "narrow-dc": "sample",
        "workshop-dc": "workshop",
        "thick-dc": "kilo",
    }
    assert set(pairs) == set(profile_names("machine"))
    for machine, spool in pairs.items():
        strand = "petg-2.85" if machine == "thick-dc" else "pla-1.75"
        job = build_job(
            {
                "take_up": {"spool": spool},
                "strand": {"profile": strand},
                "machine": {"profile": machine},
                "target": {"length_m": 10},
            }
        )
        assert {finding.code for finding in make_plan(job).findings} <= {"tight_bend"}, machine


def no_size() -> dict[str, None]:
    return dict.fromkeys(("barrel_diameter_mm", "flange_diameter_mm", "inside_width_mm"))


def no_strand() -> dict[str, None]:
    return dict.fromkeys(("diameter_mm", "density_g_cm3"))


def test_a_value_of_the_job_goes_before_its_profile() -> None:
    job = job_of(take_up={"spool": "kilo"} | no_size() | {"inside_width_mm": 64})
    assert (job.take_up.inside_width_mm, job.take_up.flange_diameter_mm, job.take_up.name) == (64, 190, "kilo")


def test_a_known_material_gives_the_density() -> None:
    job = job_of(strand={"material": "petg", "density_g_cm3": None})
    assert job.strand.density_g_cm3 == 1.27


def test_a_persons_own_profile_goes_before_one_of_the_same_name(own_profiles: Path) -> None:
    (own_profiles / "mine.toml").write_text(
        "[spool.Kilo]\nbarrel_diameter_mm = 90\nflange_diameter_mm = 210\ninside_width_mm = 63\n", encoding="utf-8"
    )
    assert job_of(take_up={"spool": "kilo"} | no_size()).take_up.barrel_diameter_mm == 90
    assert "Kilo" in profile_names("spool")


def test_a_fault_in_a_profile_says_that_it_comes_from_there(own_profiles: Path) -> None:
    (own_profiles / "mine.toml").write_text("[spool.bent]\nbarrel_diameter_mm = -1\n", encoding="utf-8")
    told = faults_of(job_tables(take_up={"spool": "bent"} | no_size()))
    assert 'from the spool profile "bent"' in told["take_up.barrel_diameter_mm"]


def test_a_broken_profile_file_is_named(own_profiles: Path) -> None:
    (own_profiles / "mine.toml").write_text("[spoool.x]\na = 1\n", encoding="utf-8")
    with pytest.raises(FileFaultsError, match=r"mine\.toml") as refusal:
        build_job(job_tables(take_up={"spool": "kilo"} | no_size()))
    assert 'did you mean "spool"?' in str(refusal.value)


def test_an_unknown_profile_is_one_fault_and_suggests_a_name() -> None:
    told = faults_of(job_tables(take_up={"spool": "kila"} | no_size()))
    assert set(told) == {"take_up.spool"}
    assert 'did you mean "kilo"?' in told["take_up.spool"]


def test_each_kind_of_profile_has_names() -> None:
    assert all(profile_names(kind) for kind in KINDS)


def test_the_pay_off_spool_may_be_a_profile_too() -> None:
    job = job_of(pay_off={"spool": "half-kilo", "gross_mass_g": 600})
    assert job.pay_off is not None
    assert (job.pay_off.empty_mass_g, job.pay_off.barrel_diameter_mm) == (135, 72)


def test_flags_laid_over_a_file_oust_what_says_the_same(tmp_path: Path) -> None:
    path = file_of(tmp_path, GOOD + "leader_m = 2\n[lay]\nrise = 0.95\nrise_u = 0.001\n")
    job = load_job(path, {"target": {"layers": 3}, "machine": {"turns_per_layer": "69/2"}, "lay": {"rise": "nested"}})
    assert job.target.length_m is None
    assert (job.target.layers, job.target.leader_m) == (Fraction(3), 2.0)
    assert (job.machine.gears, job.machine.layer_turns, job.machine.pulses_per_turn) == (None, Fraction(69, 2), 60)
    assert job.lay.rise_u is None
    assert load_job(path, {"lay": {"rise_u": 0.002}}).lay.rise == 0.95


def test_a_strand_named_by_flag_replaces_the_strand_of_the_file(tmp_path: Path) -> None:
    job = load_job(file_of(tmp_path, GOOD), {"strand": {"profile": "abs-2.85"}, "machine": {"turns_per_layer": 21}})
    assert (job.strand.diameter_mm, job.strand.density_g_cm3) == (2.85, 1.05)
