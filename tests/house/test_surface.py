"""What is promised: public names, types, and a start that feels instant."""

import resource
import subprocess
import sys

import pytest

import meltdoe


def test_all_is_sorted_and_everything_in_it_can_be_had():
    assert meltdoe.__all__ == sorted(meltdoe.__all__)
    for name in meltdoe.__all__:
        assert getattr(meltdoe, name) is not None
    with pytest.raises(AttributeError, match="no_such_name"):
        _ = meltdoe.no_such_name


def test_the_library_of_the_contract_is_importable_on_its_own():
    from meltdoe.fit import firth, lenth, posterior, split_plot
    from meltdoe.glass import batch, cooling_rate, expansion, viscosity
    from meltdoe.plans import (
        box_behnken,
        central_composite,
        definitive_screening,
        exchange,
        fraction,
        plackett_burman,
    )

    names = [firth, lenth, posterior, split_plot, batch, cooling_rate, expansion, viscosity, box_behnken]
    assert all(
        callable(f) for f in [*names, central_composite, definitive_screening, exchange, fraction, plackett_burman]
    )


def test_help_imports_nothing_heavy():
    run = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "meltdoe", "--help"], capture_output=True, text=True, check=True
    )
    loaded = {line.rsplit("|", 1)[-1].strip().split(".")[0] for line in run.stderr.splitlines()}
    assert "typer" in loaded
    assert not loaded & {"numpy", "pandas", "scipy", "matplotlib", "statsmodels", "jinja2", "tomlkit", "pyDOE3"}


def test_help_is_within_six_empty_starts_and_120_ms():
    """Processor time of whole processes in turn, the least of fifteen each: both are slowed alike by a busy machine."""

    def processor_seconds(command):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run(command, capture_output=True, check=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime

    empty, helped = [], []
    for _ in range(15):
        empty.append(processor_seconds([sys.executable, "-c", "pass"]))
        helped.append(processor_seconds([sys.executable, "-m", "meltdoe", "--help"]))
    assert min(helped) <= 6 * min(empty) + 0.120, (min(empty), min(helped))
