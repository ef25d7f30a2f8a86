"""Glass against published and independently computed values.

The tables beside this file say for each row where it comes from and whether it was printed, remembered or recomputed:
`viscosity_checks.csv` (Giordano, Russell & Dingwell 2008; Napolitano & Hawkins 1964; recomputed values),
`viscosity_measured.csv` (Hess, Dingwell & Webb 1995; Dingwell et al. 1992; Neuville et al. 1993; Murase & McBirney
1973; Napolitano & Hawkins 1964; Meerlender 1974, through the open SciGlass database, EPAM 2019, ODbL,
doi 10.5281/zenodo.8287159),
`raw_material_yields.csv` (computed from atomic weights), `flux_table.csv` (computed, Medicine Lake obsidian),
`cooling_table.csv` (computed rates beside a printed casting table).
"""

import csv
import json
from collections import defaultdict
from pathlib import Path

import numpy as np
import pytest

from meltdoe import glass
from meltdoe.glass.materials import find_material
from meltdoe.glass.viscosity_grd import grd_curve_from_mole_percent

HERE = Path(__file__).parent


def rows(name):
    with (HERE / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


# the authors' sheet uses its own molar masses, so the two N-MORB rows agree to 3e-4 with those of IUPAC
TOLERANCE = {"GRD": 3e-4, "FLUXFIT": 1e-4, "LAKATOS": 1e-4}


@pytest.mark.parametrize("row", rows("viscosity_checks"), ids=lambda r: f"{r['model']} {r['description']} {r['T_C']}")
def test_viscosity_checks(row):
    """All rows; measured ones (SRM 710) within the 0.04 that is claimed for the model there."""
    got = glass.viscosity(json.loads(row["composition_wt"]), float(row["T_C"]), model=row["model"].lower())
    tolerance = 0.04 if row["how_obtained"].startswith("measured") else TOLERANCE[row["model"]]
    assert got.log10 == pytest.approx(float(row["log10_viscosity_Pa_s"]), abs=tolerance)
    assert got.model == row["model"].lower()


def test_grd_to_six_digits_with_the_molar_masses_of_the_authors():
    """N-MORB, 1200 °C, dry: 1.757695 in the authors' spreadsheet (Giordano, Russell & Dingwell 2008)."""
    masses = {
        "SiO2": 60.0855, "TiO2": 79.88, "Al2O3": 101.96, "FeO": 71.85, "MgO": 40.30, "CaO": 56.08,
        "Na2O": 61.98, "K2O": 94.20,
    }  # fmt: skip
    weights = json.loads(rows("viscosity_checks")[0]["composition_wt"])
    moles = {oxide: weights[oxide] / mass for oxide, mass in masses.items()}
    percent = {oxide: np.asarray(100.0 * n / sum(moles.values())) for oxide, n in moles.items()}
    assert grd_curve_from_mole_percent(percent).log10_at(1200.0) == pytest.approx(1.757695, abs=1e-6)


@pytest.mark.parametrize(
    ("parts", "t12", "m"), [(0.0, 1091.7, 26.125), (5.8477, 881.1, 27.057), (14.6193, 799.2, 30.111)]
)
def test_fluxfit_constants(parts, t12, m):
    """T12 and m of Little Glass Butte obsidian with 0, 10 and 25 parts of soda ash (computed)."""
    composition = {**glass.base_glass("obs_little_glass_butte")}
    composition["Na2O"] += parts
    curve = glass.viscosity(composition, 1100.0, model="fluxfit").curve
    assert curve.celsius_at(12.0) + 273.15 == pytest.approx(t12, abs=0.06)
    assert curve.b == pytest.approx(t12 * (12 + 2.9319) ** 2 / m, rel=2e-4)


@pytest.mark.parametrize("row", rows("flux_table"), ids=lambda r: r["recipe"])
def test_what_fluxes_do(row):
    """The row of cullet is one of 100 parts to 100 of obsidian: half of the charge, not 50 parts."""
    batch = glass.batch({"obs_medicine_lake": 100.0, **json.loads(row["parts"])}, 1000.0)
    seen = glass.viscosity(batch.composition, [1100.0, 1200.0], model="fluxfit").log10
    assert seen == pytest.approx([float(row["log10_1100"]), float(row["log10_1200"])], abs=0.051)
    celsius = glass.temperature_at(batch.composition, 3.0, model="fluxfit").celsius
    assert celsius == pytest.approx(float(row["celsius_at_10^3"]), abs=1.0)  # the table cuts decimals off
    assert glass.expansion(batch.composition) == pytest.approx(float(row["alpha"]), abs=0.51)
    if row["gas_litres_per_kg_obsidian"]:
        litres = 1000.0 * batch.gas.litres / batch.grams["obs_medicine_lake"]
        assert litres == pytest.approx(float(row["gas_litres_per_kg_obsidian"]), abs=0.55)


def measured():
    """Dry composition, temperatures and viscosities by sample.

    The entry for Erevan Dry Fountain obsidian is left out: at one temperature it gives two viscosities 2.2 apart, so it
    mixes two glasses, and its alumina (16.1 wt%) is not that of the analysed rock (12.1 wt%).
    """
    samples = defaultdict(list)
    for row in rows("viscosity_measured"):
        if not row["sample"].startswith("Erevan"):
            samples[row["sample"]].append(row)
    for name, points in samples.items():
        composition = {
            column.removesuffix("_wt_pct"): float(cell)
            for column, cell in points[0].items()
            if column.endswith("_wt_pct") and column != "H2O_wt_pct" and float(cell)
        }
        yield (
            name,
            composition,
            np.array([float(p["T_C"]) for p in points]),
            np.array([float(p["log10_viscosity_Pa_s"]) for p in points]),
        )


@pytest.mark.parametrize(
    ("name", "composition", "celsius", "log10"), list(measured()), ids=lambda v: v if isinstance(v, str) else ""
)
def test_measured_melts_lie_within_the_stated_spread(name, composition, celsius, log10):
    """Root mean square of (measured - predicted)/sd stays near or below 1 for every sample, from pour to annealing."""
    got = glass.viscosity(composition, celsius)
    assert np.sqrt(np.mean(((log10 - got.log10) / got.sd) ** 2)) < 1.1


def test_measured_melts_meet_the_stated_error_of_each_family():
    """Pour range, rmse over the samples of a family against the 90th percentile of the error table (fluxfit, raw)."""
    stated = {"obsidian": 0.58, "alkali": 0.33, "soda_lime": 0.27, "lithia": 0.38, "borate": 0.39}
    family_of = {
        "HPG8 dry": "obsidian", "Little Glass Butte obsidian, dry": "obsidian", "HPG8 + about 5 wt% Na2O": "alkali",
        "HPG8 + about 5 wt% K2O": "alkali", "HPG8 + about 20 wt% K2O": "alkali", "DGG standard glass I": "soda_lime",
        "NBS SRM 710": "soda_lime", "HPG8 + about 10 wt% Li2O": "lithia", "HPG8 + about 4.4 wt% B2O3": "borate",
    }  # fmt: skip
    errors = defaultdict(list)
    for name, composition, celsius, log10 in measured():
        pour = (log10 >= 1.5) & (log10 <= 4.0)
        if name in family_of:
            got = glass.viscosity(composition, celsius[pour], model="fluxfit").log10
            errors[family_of[name]] += list(log10[pour] - got)
    rmse = {family: float(np.sqrt(np.mean(np.square(values)))) for family, values in errors.items()}
    assert set(rmse) == set(stated)
    assert {family for family in rmse if rmse[family] > stated[family]} == set(), rmse


def test_lakatos_on_its_own_kind_of_glass():
    """SRM 710: within 0.04 above 650 °C and 0.15 at 10^12 Pa s (Napolitano & Hawkins 1964)."""
    _, composition, celsius, log10 = next(sample for sample in measured() if sample[0] == "NBS SRM 710")
    error = np.abs(glass.viscosity(composition, celsius, model="lakatos").log10 - log10)
    assert np.max(error[celsius > 650.0]) <= 0.045
    assert np.max(error) <= 0.15


# log10 Pa s at 1100 °C, as the literature states them (Hess et al. 1995; Dingwell et al. 1992; Neuville et al. 1993)
ANCHORS = {
    "HPG8 dry": 7.83, "HPG8 + about 5 wt% Na2O": 4.52, "HPG8 + about 5 wt% K2O": 5.08,
    "HPG8 + about 4.4 wt% B2O3": 5.96, "HPG8 + about 20 wt% Na2O": 2.21, "Little Glass Butte obsidian, dry": 7.53,
}  # fmt: skip


def test_measured_flux_anchors_are_in_the_table_and_within_the_stated_spread():
    seen = {name: (composition, celsius, log10) for name, composition, celsius, log10 in measured()}
    for name, anchor in ANCHORS.items():
        composition, celsius, log10 = seen[name]
        assert log10[np.argmin(np.abs(celsius - 1100.0))] == pytest.approx(anchor, abs=0.005), name
        got = glass.viscosity(composition, 1100.0)
        assert abs(got.log10 - anchor) < 1.2 * got.sd, (name, got.log10, got.sd)


def test_every_flux_thins_in_the_order_measured():
    """5 wt% of soda does more than 5 of potash, that more than 4.4 of boric oxide (Hess et al. 1995)."""
    names = sorted(ANCHORS.keys() - {"Little Glass Butte obsidian, dry"}, key=ANCHORS.__getitem__)
    seen = {name: composition for name, composition, _, _ in measured()}
    assert np.all(np.diff([float(glass.viscosity(seen[name], 1100.0).log10) for name in names]) > 0.0)


@pytest.mark.parametrize("row", rows("raw_material_yields"), ids=lambda r: r["id"])
def test_raw_material_yields(row):
    """Yields computed from the formula against a table worked out separately, to its last printed digit."""
    material = find_material(row["id"])
    for column, cell in row.items():
        oxide = column.removesuffix("_kg_per_kg")
        if column.endswith("_kg_per_kg") and oxide not in ("residue", "mass_loss"):
            assert material.oxides.get(oxide, 0.0) == pytest.approx(float(cell), abs=1.1e-5), oxide
    assert material.glass_share == pytest.approx(float(row["residue_kg_per_kg"]), abs=1.1e-5)
    assert material.loss_on_firing == pytest.approx(float(row["mass_loss_kg_per_kg"]), abs=1.1e-5)
    assert sum(material.gas.values()) == pytest.approx(float(row["gas_mol_per_kg"]), abs=6e-4)
    litres = glass.gas_per_kg({row["id"]: 1.0})
    assert litres == pytest.approx(float(row["gas_litres_per_kg_at_1100C_1atm"]), abs=0.6)


@pytest.mark.parametrize(
    ("name", "appen", "printed", "density"),
    [
        ("soda_lime_container", 88.5, 90.0, 2.52),
        ("soda_lime_float", 92.2, 95.0, 2.53),
        ("borosilicate_low_expansion", 33.2, 35.0, 2.235),
        ("glass_wool", 100.9, 100.0, 2.55),
    ],
)
def test_expansion_and_density(name, appen, printed, density):
    """Appen as computed elsewhere to its digits; printed values of Seward & Vascott 2005 within the stated spread."""
    composition = glass.base_glass(name)
    got = glass.expansion_estimate(composition)
    assert got.alpha == pytest.approx(appen, abs=0.06)
    assert abs(got.alpha - printed) < got.sd
    assert glass.glass_density(composition) == pytest.approx(density, abs=0.045)


def test_density_of_melts():
    """2.31 to 2.35 g/cm3 at 1100 °C for obsidian with any soda (computed); N-MORB near 2.7 (2.718 at 1.5 kbar)."""
    for soda in (0.0, 10.0, 20.0, 30.0):
        composition = glass.batch({"obsidian": 100.0, "soda_ash": soda}, 1.0).composition
        assert 2.305 < glass.melt_density(composition, 1100.0) < 2.355
    assert glass.melt_density(glass.base_glass("mid_ocean_basalt"), 1200.0) == pytest.approx(2.70, abs=0.02)


@pytest.mark.parametrize("row", rows("cooling_table"), ids=lambda r: r["thickness_mm"])
def test_cooling_table(row):
    for alpha in (55, 90, 100):
        stated = float(row[f"calc_rate_C_per_h_alpha_{alpha}e-7"])
        assert glass.cooling_rate("slab", float(row["thickness_mm"]), alpha=alpha) == pytest.approx(stated, rel=6e-3)
    if row["table_rate1_C_per_h_first_55C"]:
        # the printed casting table asks 0.30 to 0.38 MPa of a slab cooled on both faces
        stress = glass.cooling_stress("slab", float(row["thickness_mm"]), float(row["table_rate1_C_per_h_first_55C"]))
        assert 0.29 < stress < 0.39
