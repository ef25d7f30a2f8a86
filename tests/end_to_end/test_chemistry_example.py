"""The example with crushed glass and chemistry switched on, from the terminal: what it tells, what it leaves out."""

import html
import re
import shutil

import pytest
from running import called

from meltdoe.shipped import shipped_folder


@pytest.fixture
def dish(tmp_path):
    """The example, copied with its log."""
    folder = tmp_path / "dish"
    shutil.copytree(shipped_folder("examples") / "remelted-dish", folder)
    return folder


def words(folder):
    assert called("report", folder).code == 0
    page = re.sub(r"<(script|style).*?</\1>", " ", (folder / "report.html").read_text(encoding="utf-8"), flags=re.S)
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page)))


def test_the_report_says_how_far_melts_and_chemistry_agree_until_it_is_switched_off(dish):
    said = words(dish)
    assert "How far melts and chemistry agree" in said
    for outcome in ("Poured", "Contained", "Whole none or hairline"):
        found = re.search(
            rf"{outcome}: chemistry counts as (\d) melts where it is right; that had a chance of 10 %", said
        )
        assert found, outcome
    assert "with the chemistry and" in said
    file = dish / "series.toml"
    text = file.read_text(encoding="utf-8")
    assert text.count("[chemistry]") == 1
    file.write_text(text.replace("[chemistry]", "[chemistry]\nuse = false"), encoding="utf-8")
    assert "chemistry" not in words(dish).lower()


def test_the_melt_of_crushed_glass_counts_with_the_flux_that_it_brought(dish):
    """600 g of glass of melt 2 (12 parts of borax to 100), 110 g of rock and 120 g of soda ash."""
    melts = {one["melt"]: one for one in called("glass", dish, "--json").document["melts"]}
    glass_of_two = 112.0 - 100.0 * 0.4 / 99.7  # less the water of the rock, whose analysis adds up to 99.7
    rock = 600.0 * 100.0 / glass_of_two + 110.0
    borax = 600.0 * 12.0 / glass_of_two
    assert melts[8]["flux"] == pytest.approx(100.0 * (120.0 + borax) / rock, rel=1e-9)
    said = called("analyse", dish).out
    assert "The shares of melt 8 count as they really were" in said
    assert "Melt 8 counts as" not in said, "most of its flux was soda ash, as is written"


def test_every_thickness_has_its_own_schedule(dish):
    """The rate of a slab falls with the square of its thickness, and the soak rises in proportion to it."""
    for melt, thickness in ((1, 18.0), (7, 36.0)):
        found = called("glass", dish, "--melt", str(melt), "--json").document["melts"][0]
        soak, slow = found["cooling"][:2]
        allowed = 26_000.0 / thickness**2 * 90.0 / found["expansion"]["per_kelvin_1e-7"]
        assert soak["hours"] == pytest.approx(0.16 * thickness)
        assert slow["kelvin_per_hour"] == pytest.approx(min(allowed, 70.0), rel=2e-3), "the furnace falls by 70 at most"
