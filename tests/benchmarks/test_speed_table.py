"""The table of speeds in small: it can be printed, what is kept is forgotten, and growth without a reason is named."""

import time
from functools import lru_cache

import pytest

from meltdoe.plans.fractions import minimum_aberration

from . import speed_table
from .speed_rows import ROWS, Row


def test_the_table_has_a_line_for_every_row_of_a_group(capsys):
    assert speed_table.main(["check", "record", "fit", "--once"]) in (0, 1)
    head, rule, *lines = capsys.readouterr().out.strip().splitlines()
    assert head.count("|") == rule.count("|") == 8
    wanted = [row for row in ROWS if row.group in ("check", "record", "fit")]
    assert [line.split(" | ")[1] for line in lines[: len(wanted)]] == [row.what for row in wanted]
    for line in lines[: len(wanted)]:
        _, _, sizes, once, doubled, ratio, _ = (cell.strip() for cell in line.strip("|").split("|"))
        small, large = map(int, sizes.split(", "))
        assert large == 2 * small
        assert float(once) > 0.0
        assert float(doubled) > 0.0
        assert float(ratio) > 0.0


def test_every_group_of_the_work_is_there():
    groups = ["start-up", "check", "record", "plan", "options", "fit", "next", "rehearsal", "report"]
    assert list(dict.fromkeys(row.group for row in ROWS)) == groups


class Clock:
    """A clock that the work itself moves on, so that nothing depends on how busy the machine is."""

    def __init__(self):
        self.now = 0.0

    def work(self, size, seed):
        def done():
            self.now += size**2 * (1 + seed)

        return done


def test_growth_is_seen_and_asks_for_a_reason(monkeypatch):
    clock = Clock()
    monkeypatch.setattr(speed_table, "_processor", lambda: clock.now)
    found = speed_table.timed(Row("plan", "of nothing", 3, clock.work), [0, 1, 5], 2)
    assert (found.once, found.doubled, found.ratio) == (18.0, 72.0, 4.0)  # the median is that of the seed 1
    assert found.unexplained
    assert found.line() == "| plan | of nothing | 3, 6 | 18.0 | 72.0 | 4.0 |  |"


@pytest.mark.parametrize(
    ("doubled", "why", "unexplained"),
    [(4.0, "", True), (4.0, "it is a square", False), (2.2, "", False), (0.8, "", False)],
)
def test_only_clear_growth_without_a_reason_is_complained_of(doubled, why, unexplained):
    assert (
        speed_table.Timed(Row("plan", "of nothing", 4, Clock().work, why=why), 1.0, doubled).unexplained is unexplained
    )


def test_growth_in_milliseconds_is_none():
    assert not speed_table.Timed(Row("plan", "of nothing", 4, Clock().work), 0.001, 0.004).unexplained


def test_what_was_kept_is_forgotten_before_a_run():
    minimum_aberration.column_parity(8)
    speed_table._forget()
    assert minimum_aberration.column_parity.cache_info().currsize == 0


def test_what_belongs_to_others_is_kept():
    @lru_cache
    def other(x):
        return x

    other(1)
    speed_table._forget()
    assert other.cache_info().currsize == 1


def test_elapsed_seconds_where_a_row_asks_for_them():
    row = Row("plan", "of sleep", 0, lambda size, seed: lambda: time.sleep(0.05), elapsed=True)
    assert speed_table.timed(row, [0], 1).once >= 0.05


def test_an_unknown_group_is_refused(capsys):
    with pytest.raises(SystemExit):
        speed_table.main(["melting"])
    assert "no such group: melting" in capsys.readouterr().err
