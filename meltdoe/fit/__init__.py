"""What the melts mean: fits that stay honest on 6 to 30 rows.

The public names are loaded when asked for, so that importing the package stays cheap.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from meltdoe.fit.classical.firth_logistic import firth
    from meltdoe.fit.classical.half_normal import lenth
    from meltdoe.fit.classical.split_plot_reml import split_plot
    from meltdoe.fit.draws.posterior_draws import posterior

__all__ = ["firth", "lenth", "posterior", "split_plot"]

_HOMES = {
    "firth": "classical.firth_logistic",
    "lenth": "classical.half_normal",
    "posterior": "draws.posterior_draws",
    "split_plot": "classical.split_plot_reml",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return sorted(__all__)
