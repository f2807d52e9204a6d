"""Makes every printable part and checks it: `python hardware/parts [DESIGN.toml] -o FOLDER`.

Writes one STL file a part, in millimetres, and a table of what each measures. Needs `pip install -e '.[parts]'`.
"""

from __future__ import annotations

import sys
from pathlib import Path

import click

HERE = Path(__file__).resolve().parent
sys.path[:1] = [str(HERE.parent)]


@click.command("parts")
@click.argument("design_path", metavar="[DESIGN.toml]", default=str(HERE / "design.toml"))
@click.option("-o", "--output", metavar="FOLDER", required=True, help="New or empty folder for the STL files.")
@click.option(
    "--facet-deg", type=click.FloatRange(1.5, 10), default=3.0, show_default=True, help="Fineness of the screw."
)
def command(design_path: str, output: str, facet_deg: float) -> None:
    """Make all printable parts from their dimensions, check them, and write them as STL files."""
    from reelwright.cli.output_folder import refuse_used, write_folder
    from reelwright.errors import UsageError

    try:
        from parts.design import load_design, solids, unfit
        from parts.solid import as_stl
    except ModuleNotFoundError as missing:
        raise UsageError(
            f"The parts need {missing.name}.", "Run `pip install '.[parts]'` in the project's folder."
        ) from None

    folder = Path(output)
    refuse_used(folder)
    design = load_design(design_path)
    made = solids(design, step_deg=facet_deg)
    measures, sentences = unfit(design, made)
    if sentences:
        raise UsageError("\n".join([f"{design_path} makes no sound parts:", *sentences]), "Change those dimensions.")
    write_folder(folder, {f"{name}.stl": as_stl(part) for name, part in made.items()}, _read_back)
    click.echo(f"{'part':<22}{'size mm':>24}{'cm3':>8}{'least wall mm':>15}")
    for name, found in measures.items():
        size = " x ".join(f"{side:.1f}" for side in found.size_mm)
        wall = "-" if found.least_wall_mm is None else f"{found.least_wall_mm:.2f}"
        click.echo(f"{name:<22}{size:>24}{found.volume_mm3 / 1000:>8.2f}{wall:>15}")
    groove, wheel = design.groove, design.measuring_wheel
    click.echo(f"screw: lead {groove.lead_mm:.2f} mm, lay pitch in mid-pass {groove.pitch_excess:.3f} of the mean one")
    click.echo(f"crossing {groove.crossing_span_mm():.2f} mm long, follower {design.follower.length_mm:g} mm")
    click.echo(f"carriage: {design.carriage.arm_face_mm(groove):.2f} mm from the screw's axis to the face of its arm")
    click.echo(f"measuring_wheel_mm_per_pulse = {wheel.mm_per_pulse(design.strand_diameter_mm):.4f}")


def _read_back(folder: Path) -> None:
    """Each file holds a closed surface, or the folder does not appear. Raises UsageError.

    A file of triangles has no neighbours: corners nearer than single precision tells apart fall together in it.
    """
    import trimesh

    from reelwright.errors import UsageError

    broken = [path.name for path in sorted(folder.glob("*.stl")) if not trimesh.load_mesh(path).is_watertight]
    if broken:
        raise UsageError(
            f"Two corners fall together in {', '.join(broken)}.",
            "Choose another --facet-deg, or change a dimension by a hundredth of a mm.",
        )


if __name__ == "__main__":
    from reelwright.cli import run_command

    run_command(command, "hardware/parts")
