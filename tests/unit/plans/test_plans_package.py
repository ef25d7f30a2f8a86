"""The package hands out its names without loading anything until they are asked for."""

from __future__ import annotations

import subprocess
import sys

import pytest

import meltdoe.plans
from meltdoe.shipped import shipped_folder


def test_every_public_name_is_there() -> None:
    for name in meltdoe.plans.__all__:
        assert getattr(meltdoe.plans, name) is not None
        assert name in dir(meltdoe.plans)


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="nothing_of_the_kind"):
        _ = meltdoe.plans.nothing_of_the_kind


def test_importing_is_cheap() -> None:
    code = "import sys, meltdoe.plans; print(sorted({'numpy', 'scipy', 'pandas', 'pyDOE3'} & set(sys.modules)))"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "[]"


def test_search_needs_no_slow_import() -> None:
    code = "import sys, meltdoe.plans as p; p.fraction(5, 16); p.exchange; print('scipy.stats' in sys.modules)"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "False"


def test_designs_are_found_in_the_checkout() -> None:
    assert (shipped_folder("designs") / "index.csv").is_file()
