"""Expansion, density, cooling rates, schedules and beds."""

import numpy as np
import pytest

from meltdoe import glass
from meltdoe.glass.annealing import SHAPES, retardation

OBSIDIAN = glass.base_glass("obs_medicine_lake")
CASTING = dict(glass.batch({"obsidian": 100, "soda_ash": 20}, 1.0).composition)


def test_soda_doubles_the_expansion_of_obsidian():
    """53 to 106 with 25 parts."""
    fluxed = glass.glass_composition({"obsidian": 100, "soda_ash": np.array([0.0, 25.0])})
    assert glass.expansion(fluxed) == pytest.approx([53.0, 106.0], abs=0.5)


def test_appen_by_hand():
    """70 SiO2, 15 Na2O, 15 CaO in mol%: 0.70 (38 - 3) + 0.15 395 + 0.15 130 = 103.25."""
    composition = glass.to_weight_percent({"SiO2": 70, "Na2O": 15, "CaO": 15})
    assert glass.expansion(composition) == pytest.approx(103.25)
    # potash alone counts 425: 0.80 (38 - 13) + 0.20 425
    assert glass.expansion(glass.to_weight_percent({"SiO2": 80, "K2O": 20})) == pytest.approx(105.0)
    # psi = 1: boron counts -12.5
    assert glass.expansion(glass.to_weight_percent({"SiO2": 60, "Na2O": 20, "B2O3": 20})) == pytest.approx(
        22.8 + 79.0 - 2.5
    )


def test_winkelmann_schott_by_hand():
    """75 SiO2, 15 Na2O, 10 CaO in wt%: (60 + 150 + 50)/3."""
    got = glass.expansion_estimate({"SiO2": 75, "Na2O": 15, "CaO": 10}, model="winkelmann_schott")
    assert got.alpha == pytest.approx((60 + 150 + 50) / 3)
    assert got.sd > glass.expansion_estimate({"SiO2": 75, "Na2O": 15, "CaO": 10}).sd


def test_expansion_leaves_nothing_out_silently():
    assert "NiO" in glass.expansion_estimate({**OBSIDIAN, "NiO": 0.3}).warnings[0]
    with pytest.raises(ValueError, match="NiO"):
        glass.expansion({**OBSIDIAN, "NiO": 5.0})
    with pytest.raises(ValueError, match="B2O3"):
        glass.melt_density({**OBSIDIAN, "B2O3": 5.0}, 1100.0)
    with pytest.raises(ValueError, match="no oxide"):
        glass.expansion({"H2O": 1.0})
    with pytest.raises(ValueError, match='"hopkins" is not known'):
        glass.expansion_estimate(OBSIDIAN, model="hopkins")


def test_spread_of_the_expansion_by_kind_of_glass():
    kinds = {"Li2O": 9.6, "B2O3": 4.6, None: 6.3}
    for oxide, sd in kinds.items():
        assert glass.expansion_estimate({**OBSIDIAN, **({oxide: 4.0} if oxide else {})}).sd == sd


def test_the_one_megapascal_rule():
    """R = 26 000/d^2 in K/h for alpha 90, 42 600/d^2 for 55 (computed)."""
    assert glass.cooling_rate("slab", 1.0) == pytest.approx(26_000, rel=1e-3)
    assert glass.cooling_rate("slab", 10.0, alpha=55.0) == pytest.approx(426.0, rel=2e-3)
    assert glass.cooling_rate("slab", [10.0, 20.0]) == pytest.approx([260.0, 65.0])
    assert glass.cooling_rate("slab", 25.0, stress=0.36) == pytest.approx(0.36 * glass.cooling_rate("slab", 25.0))
    assert glass.cooling_rate("slab one face", 12.0) == pytest.approx(glass.cooling_rate("slab", 24.0))
    assert glass.cooling_rate("slab_one_face", 12.0) == glass.cooling_rate("slab one face", 12.0)


@pytest.mark.parametrize(("shape", "dimension"), [("slab", 0), ("cylinder", 1), ("sphere", 2)])
def test_rates_agree_with_the_heat_equation(shape, dimension):
    """Surface cooled at a constant rate until the profile stands: mean minus surface by finite volumes."""
    size, rate, k = 20.0, 100.0, 0.5  # mm, K/h, mm2/s
    edges = np.linspace(0.0, size / 2, 201)
    middles = (edges[1:] + edges[:-1]) / 2
    areas, volumes = edges**dimension, np.diff(edges ** (dimension + 1)) / (dimension + 1)
    gap = np.diff(np.append(middles, edges[-1]))
    conductance = k * areas[1:] / gap
    matrix = np.zeros((200, 200))
    for i in range(200):
        matrix[i, i] -= conductance[i]
        if i + 1 < 200:
            matrix[i, i + 1] += conductance[i]
            matrix[i + 1, i] += conductance[i]
            matrix[i + 1, i + 1] -= conductance[i]
    above_surface = np.linalg.solve(matrix, -rate / 3600.0 * volumes)  # stands still in the frame of the surface
    mean = above_surface @ volumes / volumes.sum()
    stress = 72e3 * 90e-7 * mean / (1.0 - 0.22)
    assert glass.cooling_stress(shape, size, rate) == pytest.approx(stress, rel=1e-3)


def test_thermal_shock():
    """30 MPa: 36 K at alpha 90, 59 at 55, 31 at 106 (computed)."""
    assert glass.thermal_shock_limit([90.0, 55.0, 106.0]) == pytest.approx([36.1, 59.1, 30.7], abs=0.05)


def test_stress_seen_in_polarised_light():
    assert retardation(1.0) == pytest.approx(27.0)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: glass.cooling_rate("cube", 10.0), "shapes are slab"),
        (lambda: glass.cooling_rate("spere", 10.0), 'did you mean "sphere"'),
        (lambda: glass.cooling_rate("slab", 0.0), "size must be above 0"),
        (lambda: glass.cooling_rate("slab", 10.0, alpha=-1), "alpha must be above 0"),
        (lambda: glass.cooling_rate("slab", 10.0, stress=0.0), "stress must be above 0"),
        (lambda: glass.buried_cooling(CASTING, "slab", 25.0, bed="feathers"), "beds are vermiculite"),
        (lambda: glass.buried_cooling(CASTING, "slab one face", 25.0), "a bed covers"),
        (lambda: glass.buried_cooling(CASTING, "slab", 25.0, cover=0.0), "cover"),
    ],
)
def test_faulty_questions_are_named(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_schedule_of_a_fluxed_slab():
    schedule = glass.anneal_schedule(CASTING, "slab", 25.0)
    soak, slow, second, last = schedule.steps
    points = {p.id: p.celsius for p in glass.fixed_points(CASTING)}
    assert (soak.start, slow.end) == pytest.approx((points["annealing"], points["strain"] - 30.0))
    assert soak.hours == pytest.approx(4.0)  # 0.16 h per mm
    rate = float(glass.cooling_rate("slab", 25.0, alpha=schedule.alpha))
    assert (slow.rate, second.rate, last.rate) == pytest.approx((rate, 1.8 * rate, 6.0 * rate))
    assert second.start - second.end == pytest.approx(55.0)
    assert last.end == 20.0
    assert all(a.end == b.start for a, b in zip(schedule.steps, schedule.steps[1:], strict=False))
    assert schedule.hours == pytest.approx(sum((s.start - s.end) / s.rate for s in schedule.steps[1:]) + 4.0)
    assert 2.4 < rate / schedule.practice_rate < 3.2


def test_a_mould_doubles_the_soak_and_quarters_the_rate():
    free, held = (glass.anneal_schedule(CASTING, "slab", 25.0, in_mould=m) for m in (False, True))
    assert held.steps[0].hours == pytest.approx(2.0 * free.steps[0].hours)
    assert held.steps[1].rate == pytest.approx(free.steps[1].rate / 4.0)
    assert held.practice_rate == pytest.approx(free.practice_rate / 4.0)


def test_thin_pieces_soak_an_hour_and_no_step_passes_the_shock_limit():
    schedule = glass.anneal_schedule(CASTING, "slab", 3.0, stress=10.0, alpha=80.0)
    assert schedule.steps[0].hours == 1.0
    limit = float(glass.cooling_rate("slab", 3.0, alpha=80.0, stress=30.0))
    assert schedule.steps[3].rate == pytest.approx(limit)
    assert any("7 MPa" in w for w in schedule.warnings)


def test_boric_oxide_without_soda_is_not_trusted_for_annealing():
    doubtful = dict(glass.batch({"obsidian": 100, "boric_oxide": 12}, 1.0).composition)
    fine = dict(glass.batch({"obsidian": 100, "borax_anhydrous": 15}, 1.0).composition)
    assert any("too low" in w for w in glass.anneal_schedule(doubtful, "slab", 20.0).warnings)
    assert not any("too low" in w for w in glass.anneal_schedule(fine, "slab", 20.0).warnings)


def test_a_bed_suits_only_small_thin_pieces():
    thick = glass.buried_cooling(CASTING, "slab", 40.0, bed="vermiculite", cover=60.0)
    assert not thick.acceptable
    assert thick.stress == pytest.approx(thick.rate / thick.allowed)
    assert "kiln" in thick.sentence
    assert glass.buried_cooling(CASTING, "slab", 6.0).acceptable
    rates = [glass.buried_cooling(CASTING, "sphere", 30.0, cover=c).rate for c in (50.0, 100.0, 200.0)]
    assert rates == sorted(rates, reverse=True)


def test_a_measured_rate_stands_in_place_of_the_estimate():
    seen = glass.buried_cooling(CASTING, "slab", 25.0, measured_rate=30.0)
    assert seen.measured
    assert seen.rate == 30.0
    assert seen.acceptable
    assert not glass.buried_cooling(CASTING, "slab", 25.0, measured_rate=80.0).acceptable


def test_every_shape_has_a_rate():
    rates = {shape: float(glass.cooling_rate(shape, 30.0)) for shape in SHAPES}
    assert rates["slab one face"] < rates["slab"] < rates["cylinder"] < rates["sphere"]
