"""Mass, section and density of strand, against worked examples and tables of plastics."""

from __future__ import annotations

from math import sqrt

import pytest

from reelwright.profiles.store import Profiles
from reelwright.winding.job import PayOff, Strand
from reelwright.winding.mass import section_mm2, strand_length_mm, strand_mass_g
from reelwright.winding.source import UNKNOWN_TARE_G, UNKNOWN_TARE_HALF_G, check_source


@pytest.mark.parametrize(("diameter_mm", "length_m"), [(1.75, 335.28), (2.85, 126.42)])
def test_a_kilogram_of_strand_has_its_known_length(diameter_mm: float, length_m: float) -> None:
    # formula; common practice says "about 335 m"
    assert strand_length_mm(1000, 1.24, diameter_mm) / 1000 == pytest.approx(length_m, abs=0.005)


def test_volume_of_a_metre_and_length_of_a_volume() -> None:
    # published worked example: 1 m of 1.75 mm is 2.40528 cm3; 11.4 cm3 of 2.85 mm are 178.700 cm
    assert section_mm2(1.75) == pytest.approx(2.40528, abs=5e-6)
    assert 11.4e3 / section_mm2(2.85) / 10 == pytest.approx(178.700, abs=0.0006)


@pytest.mark.parametrize(("off_mm", "percent"), [(0.02, 2.299), (-0.02, -2.273), (0.05, 5.796), (-0.05, -5.633)])
def test_a_diameter_slightly_off_changes_the_section_by_twice_as_much(off_mm: float, percent: float) -> None:
    # exact: ((d + e) / d)^2 - 1
    assert 100 * (section_mm2(1.75 + off_mm) / section_mm2(1.75) - 1) == pytest.approx(percent, abs=0.0006)


def test_the_length_of_a_mass_is_the_inverse_of_the_mass_of_a_length_for_oval_strand_too() -> None:
    for second_mm in (None, 1.65):
        mass_g = strand_mass_g(40_000, 1.24, 1.75, second_mm)
        assert strand_length_mm(mass_g, 1.24, 1.75, second_mm) == pytest.approx(40_000, rel=1e-14)


def test_oval_strand_has_the_section_of_an_ellipse() -> None:
    # geometry: pi/4 d1 d2, the circle of the geometric mean
    assert section_mm2(1.7, 1.8) == pytest.approx(section_mm2(sqrt(1.7 * 1.8)))
    assert strand_mass_g(1000, 1.24, 1.7, 1.8) == pytest.approx(1.24 * section_mm2(1.7, 1.8))


@pytest.mark.parametrize(
    ("material", "low", "high"),
    [
        # general plastics tables (ISO 1183 / ASTM D1505 values)
        ("PLA", 1.21, 1.43),
        ("PETG", 1.26, 1.28),
        ("ABS", 1.02, 1.08),
        ("ASA", 1.05, 1.07),
        ("PA6", 1.13, 1.15),
        ("PA12", 1.01, 1.03),
        ("PC", 1.19, 1.22),
        ("HIPS", 1.03, 1.05),
        # from memory
        ("TPU", 1.12, 1.24),
        ("PVA", 1.19, 1.31),
    ],
)
def test_each_built_in_material_lies_in_its_published_range(material: str, low: float, high: float) -> None:
    values = Profiles().find("material", material)
    assert values is not None
    assert low < float(str(values["density_g_cm3"])) < high


def test_the_usual_density_of_pla() -> None:
    # npj Materials Degradation 2025, s41529-025-00724-1, table 2
    values = Profiles().find("material", "PLA")
    assert values is not None
    assert float(str(values["density_g_cm3"])) == 1.24


def test_the_tare_taken_for_an_unknown_spool_spans_what_such_spools_weigh() -> None:
    # open material datasets: empty 1 kg spools weigh 140 to 250 g (10-90 %)
    assert (UNKNOWN_TARE_G - UNKNOWN_TARE_HALF_G, UNKNOWN_TARE_G + UNKNOWN_TARE_HALF_G) == (140, 250)


@pytest.mark.parametrize(
    ("spool", "low", "high"), [("kilo", 140, 250), ("half-kilo", 75, 320), ("quarter-kilo", 100, 250)]
)
def test_each_invented_spool_is_as_heavy_as_real_ones_of_its_size(spool: str, low: float, high: float) -> None:
    # open material datasets: 10-90 % of empty spools for 1 kg, 0.5 kg and 0.25 kg
    values = Profiles().find("spool", spool)
    assert values is not None
    assert low < float(str(values["empty_mass_g"])) < high


def test_an_error_in_a_quotient_of_powers_follows_the_product_law() -> None:
    # JCGM 100, 5.1.6, from memory: (u/y)^2 = sum (p_i u_i / x_i)^2; here length = net / (density pi/4 d^2)
    strand = Strand(1.75, diameter_u_mm=0.03, density_g_cm3=1.24, density_u_g_cm3=0.01)
    check = check_source(PayOff(gross_mass_g=1200, empty_mass_g=200), strand, 1)
    assert check is not None
    law = sqrt((sqrt(2) / 1000) ** 2 + (0.01 / 1.24) ** 2 + (2 * 0.03 / 1.75) ** 2)
    assert check.held_u_m / check.held_m == pytest.approx(law, rel=1e-12)
