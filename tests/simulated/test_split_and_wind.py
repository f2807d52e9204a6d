"""The jobs that `split` writes, wound in order on the simulated winder."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from reelwright.profiles import load_job
from reelwright.winding.plan import make_plan
from simulated.winder import listed, run, simulated, wind

if TYPE_CHECKING:
    from pathlib import Path

LIST = """
[strand]
diameter_mm = 1.75
material = "PLA"
[machine]
turns_per_layer = "21"
pulses_per_turn = 20
drive = "dc"
[take_up]
barrel_diameter_mm = 50
flange_diameter_mm = 90
inside_width_mm = 40
[cut]
leader_m = 0.2
shortest_useful_m = 1
[[pay_off]]
name = "left"
held_m = 4
held_u_m = 0.05
[[pay_off]]
name = "right"
held_m = 3
held_u_m = 0.05
[[wanted]]
name = "short"
length_m = 1.5
[[wanted]]
name = "long"
length_m = 4.5
"""


def test_the_files_are_planned_and_wound_in_order_with_a_pause_at_the_join(tmp_path: Path) -> None:
    cut_list = tmp_path / "list.toml"
    cut_list.write_text(LIST, encoding="utf-8")
    folder = tmp_path / "jobs"
    done = run(tmp_path, "split", str(cut_list), "-o", str(folder), "--json")
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["joins"] == 1
    files = sorted(folder.glob("*.toml"))
    assert [str(path) for path in files] == told["files"]

    joins = []
    for path, step in zip(files, told["steps"], strict=True):
        planned = run(tmp_path, "plan", str(path), "--json")
        assert planned.returncode == 0, planned.stderr
        plan = json.loads(planned.stdout)
        with simulated(path, tmp_path, "--pace", "20") as port:
            code, lines, err = wind(path, port, tmp_path, "--go-on")
        assert code == 0, err
        assert lines[-1]["state"] == "finished"
        assert abs(lines[-1]["counted_pulses"] - plan["target_pulses"]) <= 1
        assert abs(lines[-1]["length_m"] - step["length_m"]) < 0.02
        stops = [each["pulses"] for each in lines if each["kind"] == "event" and each["verb"] == "stopped"]
        assert len(stops) == step["joins"]
        joins += stops
        for piece, pulses in zip(step["pieces"][:-1], stops, strict=True):
            # where the piece ends, within two of the 20 pulses in a turn of 0.19 m at most
            assert abs(make_plan(load_job(path)).length_m_at(pulses) - piece["to_m"]) < 0.02
    assert len(joins) == 1
    assert {line["take_up"] for line in listed(tmp_path)} == {"short", "long"}
