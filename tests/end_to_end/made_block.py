"""An invented series on disk: ten melts planned, eight of them made, one heat otherwise than planned."""

from running import called

SERIES_FILE = """\
title = "Block from crushed rock (invented)"
goal = "A whole casting"
target_chance = 0.8
seed = 7

[budget]
melts = 16
money = 700.0
currency = "EUR"

[kiln]
melts_per_firing = 2
max_temperature = "1280 °C"

[[factor]]
name = "peak"
kind = "amount"
unit = "°C"
low = 1100
high = 1240
step = 10
set_per = "firing"

[[factor]]
name = "flux"
kind = "amount"
unit = "wt%"
low = 12
high = 26
step = 1

[[factor]]
name = "grain"
kind = "choice"
options = ["coarse", "fine"]

[[limit]]
keep = "2 * flux + 0.1 * peak <= 170"
why = "very fluid glass eats the crucible"

[[outcome]]
name = "contained"
kind = "pass"

[[outcome]]
name = "poured"
kind = "pass"
after = "contained"

[[outcome]]
name = "fill"
kind = "measured"
unit = "%"
bounds = [0, 100]
after = "poured"
good = "at least 95"

[[outcome]]
name = "cracks"
kind = "grade"
grades = ["none", "hairline", "open", "shattered"]
after = "fill"
good = ["none", "hairline"]

[[circumstance]]
name = "humidity"
unit = "%"

[[belief]]
at = { peak = 1240, flux = 20 }
outcome = "poured"
chance = 0.7
worth = 1
"""
PLAN_FILE = """\
melt,firing,order,peak,flux,grain,purpose
1,1,1,1240,22,fine,fraction
2,1,2,1240,12,coarse,fraction
3,2,3,1240,23,fine,fraction
4,2,4,1240,12,coarse,fraction
5,3,5,1100,12,fine,fraction
6,3,6,1100,26,coarse,fraction
7,4,7,1200,20,fine,fraction
8,4,8,1200,18,coarse,fraction
9,5,9,1200,20,coarse,fraction
10,5,10,1200,22,coarse,fraction
"""
MADE = (
    "contained=yes poured=yes fill=100 cracks=open",
    "contained=yes poured=no",
    "contained=no",
    "contained=yes poured=yes fill=82",
    "contained=yes poured=no",
    "contained=yes poured=yes fill=98 cracks=none",
    "contained=yes poured=no",
    "contained=yes poured=yes fill=96 cracks=later",
)


def made_block(folder):
    """Write the series into a folder that does not exist yet, by recording melt after melt; returns the folder."""
    folder.mkdir()
    (folder / "series.toml").write_text(SERIES_FILE, encoding="utf-8")
    (folder / "plan.csv").write_text(PLAN_FILE, encoding="utf-8")
    for i, seen in enumerate(MADE):
        words = [word for pair in seen.split() for word in ("--seen", pair)]
        words += ["--set", "peak=1247"] if i == 2 else []
        assert called("record", folder, "--melt", i + 1, "--date", f"2026-08-{i + 11}", *words).code == 0
    assert called("check", folder).code == 0
    return folder
