"""One weighed spool, and the next ten of the same strand: planned, wound by the firmware, judged by the true length.

The strand truly differs from its label, the rise from its model, each spool from its caliper's reading, the scale and
the caliper from what they measure. The suite takes two strands of a fixed seed that are far from their label, since a
normal deviate may be of any size; REELWRIGHT_SEED draws others, REELWRIGHT_STRANDS more of them.
"""

from __future__ import annotations

import json
import os
import random
from concurrent.futures import ThreadPoolExecutor
from fractions import Fraction
from math import pi
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner

from interpreters import CPYTHON, MICROPYTHON, has_micropython, run_script
from reelwright.cli.calibrate import command
from reelwright.profiles import build_job
from reelwright.simulator.spec import SimulatorOptions
from reelwright.winding.calibration_figures import FIGURES
from reelwright.winding.plan import make_plan
from simulated.random_jobs import task
from windlink.codes import FINISHED

if TYPE_CHECKING:
    from reelwright.winding.job import Job

STRANDS = int(os.environ.get("REELWRIGHT_STRANDS", "2"))
FAR_FROM_LABEL = 15  # the seed of strands that calibration has much to do for
SEED = int(os.environ.get("REELWRIGHT_SEED", FAR_FROM_LABEL))
NEXT_SPOOLS = 10
PROCESSES = 2
WINDS_SCRIPT = Path(__file__).with_name("winds.py")
LABEL_MM, LABEL_U_MM = 1.75, 0.02
MEASURED_U_MM = 0.001  # by many readings of a good micrometer
BARREL_U_MM = 0.05  # by a caliper, all round
SCALE_U_G, FINE_SCALE_U_G, CALIPER_U_MM = 1.0, 0.2, 0.3
MODEL_RISE, MODEL_RISE_U = 0.957, 0.028
DENSITY_G_CM3 = 1.24
LAYERS = 18


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A profile folder of the test's own, with the strand as its label says it."""
    monkeypatch.setenv("REELWRIGHT_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("COLUMNS", "200")
    (tmp_path / "home" / "profiles").mkdir(parents=True)
    return tmp_path / "home"


class Strand:
    """What a spool of strand truly is, drawn about what is known of it."""

    def __init__(self, seed: str, diameter_u_mm: float = LABEL_U_MM) -> None:
        self.draw = random.Random(seed)
        self.diameter_mm = self.draw.gauss(LABEL_MM, diameter_u_mm)
        self.rise = self.draw.gauss(MODEL_RISE, MODEL_RISE_U)

    def tasks(self, jobs: list[Job]) -> list[dict[str, Any]]:
        """The jobs on the simulated machine, each on a spool that is not quite what the caliper said."""
        tasks = []
        for job in jobs:
            options = SimulatorOptions(
                seed=self.draw.randrange(1 << 30), true_diameter_mm=self.diameter_mm, true_rise=self.rise
            )
            given = task(job, options)
            given["spec"]["take_up"]["barrel_diameter_mm"] += self.draw.gauss(0, job.take_up.barrel_diameter_u_mm)
            tasks.append(given)
        return tasks

    def mass_g(self, length_mm: float) -> float:
        """True mass."""
        return DENSITY_G_CM3 * 1e-3 * pi / 4 * self.diameter_mm**2 * length_mm

    def outer_mm(self, barrel_mm: float, layer: int) -> float:
        """True diameter over a layer."""
        return barrel_mm + 2 * self.diameter_mm + 2 * (layer - 1) * self.rise * self.diameter_mm


def job_on(
    barrel_mm: float, width_mm: float, target: dict[str, Any], strand: dict[str, Any], phase: Fraction | None = None
) -> Job:
    """A job on a spool of these dimensions, its lay pitch always about 1.77 mm."""
    machine: dict[str, Any] = {
        "turns_per_layer": str(Fraction(round((width_mm - 1.75) / 1.77 * 5), 5)),
        "stroke_mm": width_mm - 1.75,
        "pulses_per_turn": 20,
        "max_spool_rpm": 300,
        "acceleration_rpm_s": 120,
        "on_link_loss": "wind_on",
    }
    if phase:
        machine["phase_turns"] = str(phase)
    spool = {
        "barrel_diameter_mm": barrel_mm,
        "barrel_diameter_u_mm": BARREL_U_MM,
        "flange_diameter_mm": 320,
        "inside_width_mm": width_mm,
    }
    return build_job({"take_up": spool, "strand": strand, "machine": machine, "target": target})


def wind_all(folder: Path, tasks: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """What truly happened in each."""
    interpreter = MICROPYTHON if has_micropython else CPYTHON

    def wind_share(share: int) -> list[dict[str, Any]]:
        path = folder / f"winds-{share}.json"
        path.write_text(json.dumps(tasks[share::PROCESSES]), encoding="utf-8")
        return [json.loads(line) for line in run_script(interpreter, WINDS_SCRIPT, path, timeout_s=600).splitlines()]

    with ThreadPoolExecutor(PROCESSES) as pool:
        shares = list(pool.map(wind_share, range(PROCESSES)))
    truths = [shares[number % PROCESSES][number // PROCESSES] for number in range(len(tasks))]
    assert all(truth["state"] == FINISHED for truth in truths)
    return [truth["rests"][-1] for truth in truths]


def strand_values(diameter_u_mm: float = LABEL_U_MM, density_u_g_cm3: float = 0.012) -> dict[str, Any]:
    """What is known of the strand before."""
    return {
        "diameter_mm": LABEL_MM,
        "diameter_u_mm": diameter_u_mm,
        "density_g_cm3": DENSITY_G_CM3,
        "density_u_g_cm3": density_u_g_cm3,
    }


def weigh_first(way: str, strand: Strand, known: dict[str, Any], scale_u_g: float, folder: Path, home: Path) -> None:
    """Wind one spool of whole layers, weigh it, lay a caliper over it, and let the command store what follows."""
    profile = [f"{key} = {value}" for key, value in known.items()]
    (home / "profiles" / "strand.toml").write_text("\n".join(["[strand.marsh]", *profile, ""]), encoding="utf-8")
    job = job_on(80, 63, {"layers": LAYERS}, {"profile": "marsh"})
    as_text = []
    for name in ("take_up", "machine", "target"):
        table = job.to_dict()[name]
        assert isinstance(table, dict)
        as_text += [f"[{name}]", *(f"{key} = {json.dumps(value)}" for key, value in table.items())]
    (folder / "first.toml").write_text("\n".join([*as_text, "[strand]", 'profile = "marsh"\n']), encoding="utf-8")
    (given,) = strand.tasks([job])
    (rest,) = wind_all(folder, [given])
    gross_g = 187 + strand.mass_g(rest["length_mm"]) + strand.draw.gauss(0, scale_u_g)
    tare_g = 187 + strand.draw.gauss(0, scale_u_g)
    measured = [
        f"--scale-u={scale_u_g}g",
        f"--gross={gross_g:.3f}g",
        f"--tare={tare_g:.3f}g",
        f"--turns={rest['count']}/20",
    ]
    if way == "together":
        outer_mm = strand.outer_mm(given["spec"]["take_up"]["barrel_diameter_mm"], LAYERS)
        measured.append(f"--layer={LAYERS}:{outer_mm + strand.draw.gauss(0, CALIPER_U_MM):.3f}mm")
    arguments = [way, *measured, "--wind", str(folder / "first.toml"), "--strand", "marsh", "--save", "marsh"]
    # of many strands some truly lie far from their label; who has measured them well keeps the result
    kept = [f"--keep={figure}" for figure in FIGURES]
    done = CliRunner().invoke(command, [*arguments, *kept], catch_exceptions=False)
    assert "Stored as strand" in done.stderr, done.stdout


def next_jobs(seed: str, profile: dict[str, Any]) -> list[Job]:
    """Ten other winds: other spools, other lengths, some that begin where the guide stood."""
    draw = random.Random(seed)
    jobs = []
    for number in range(NEXT_SPOOLS):
        barrel, width = draw.uniform(60, 110), draw.uniform(30, 70)
        phase = Fraction(draw.randrange(20, 60), 5) if number % 3 == 0 else None
        jobs.append(job_on(barrel, width, {"length_m": draw.uniform(20, 220)}, profile, phase))
    return jobs


class Outcome:
    """Relative errors of the next ten winds: of their length as known before, and of length and mass as calibrated."""

    def __init__(self, strand: Strand, seed: str, known: dict[str, Any], folder: Path) -> None:
        self.plans = [make_plan(job) for job in next_jobs(seed, {"profile": "marsh"})]
        by_label = [make_plan(job) for job in next_jobs(seed, known)]
        self.before, self.after, self.mass_before, self.mass_after = [], [], [], []
        rests = wind_all(folder, strand.tasks([plan.job for plan in self.plans]))
        for plan, old, rest in zip(self.plans, by_label, rests, strict=True):
            true_m, true_g = rest["length_mm"] / 1000, strand.mass_g(rest["length_mm"])
            self.after.append(plan.length_m_at(rest["count"]) / true_m - 1)
            self.before.append(old.length_m_at(rest["count"]) / true_m - 1)
            self.mass_after.append((plan.at_pulses(rest["count"]).mass_g or 0.0) / true_g - 1)
            self.mass_before.append((old.at_pulses(rest["count"]).mass_g or 0.0) / true_g - 1)
        self.told = f"seed {seed}: {strand.diameter_mm:.4f} mm, rise {strand.rise:.4f}; {self.after}"


def worst(errors: list[float]) -> float:
    return max(map(abs, errors))


def outcomes(
    way: str, *, known: dict[str, Any], folder: Path, home: Path, scale_u_g: float = SCALE_U_G
) -> list[Outcome]:
    """What came of each strand; the worst of all is printed."""
    found = []
    for number in range(STRANDS):
        seed = f"{SEED} {number}"
        strand = Strand(seed, known["diameter_u_mm"])
        weigh_first(way, strand, known, scale_u_g, folder, home)
        found.append(Outcome(strand, seed, known, folder))
    for name in ("before", "after", "mass_before", "mass_after"):
        print(f"seed {SEED}: {name}, at worst", sorted(f"{worst(getattr(each, name)):.2%}" for each in found))
    return found


def test_after_one_spool_weighed_and_calipered_the_next_ten_are_within_half_a_percent(
    tmp_path: Path, home: Path
) -> None:
    found = outcomes("together", known=strand_values(), folder=tmp_path, home=home)
    for each in found:
        assert all(plan.job.calibration is not None for plan in each.plans), each.told
        assert worst(each.after) <= 0.005, each.told
    if SEED == FAR_FROM_LABEL:
        assert max(worst(each.before) for each in found) > 0.01, "nothing had to be calibrated"


def test_a_weight_alone_does_as_well_where_the_mass_of_a_metre_is_known_to_a_thousandth(
    tmp_path: Path, home: Path
) -> None:
    # and on a fine scale: with an error of 1 g the next ten spools of only 19 strands of 25 were within half a percent
    known = strand_values(MEASURED_U_MM, 0.0012)
    for each in outcomes("weight", known=known, scale_u_g=FINE_SCALE_U_G, folder=tmp_path, home=home):
        assert all(plan.job.calibration.found == ("rise",) for plan in each.plans), each.told
        assert worst(each.after) <= 0.005, each.told


def test_a_weight_alone_tells_the_mass_and_not_the_length_where_only_the_label_is_known_and_the_plan_says_so(
    tmp_path: Path, home: Path
) -> None:
    found = outcomes("weight", known=strand_values(), folder=tmp_path, home=home)
    for each in found:
        assert all(plan.job.calibration.found == ("diameter",) for plan in each.plans), each.told
        for plan, off in zip(each.plans, each.mass_after, strict=True):
            assert plan.mass is not None
            assert abs(off) <= 3 * plan.mass.u / plan.mass.value, each.told
        longest = max(each.plans, key=lambda plan: plan.full_layers)
        assert 2 * longest.length_u_m > 0.005 * longest.length_m, "the plan claims what no weight can tell"
    if SEED == FAR_FROM_LABEL:
        assert max(worst(each.mass_before) for each in found) > 0.02, "nothing had to be calibrated"
        assert max(worst(each.mass_after) for each in found) <= 0.012
