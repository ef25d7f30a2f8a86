"""What the melts mean: fits that stay honest on 6 to 30 rows.

The public names are loaded when asked for, so that importing the package stays cheap.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from meltdoe.fit.firth_logistic import firth
    from meltdoe.fit.half_normal import lenth
    from meltdoe.fit.posterior_draws import posterior
    from meltdoe.fit.split_plot_reml import split_plot

__all__ = ["firth", "lenth", "posterior", "split_plot"]

_HOMES = {
    "firth": "firth_logistic",
    "lenth": "half_normal",
    "posterior": "posterior_draws",
    "split_plot": "split_plot_reml",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return sorted(__all__)
