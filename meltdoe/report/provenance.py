"""What a reader needs to get the same pages again: versions, seed, command, and fingerprints of the files."""

from __future__ import annotations

import hashlib
import importlib.metadata
import platform
from dataclasses import dataclass
from pathlib import Path

from meltdoe import __version__
from meltdoe.files.series.series_toml import series_path
from meltdoe.files.store.log_csv import LOG_NAME
from meltdoe.files.store.plan_csv import PLAN_NAME

__all__ = ["Provenance", "provenance"]

_LIBRARIES = ("numpy", "scipy", "matplotlib")


@dataclass(frozen=True, slots=True)
class Provenance:
    """Where a report came from.

    Attributes
    ----------
    versions : name and version of the program, the language and the libraries that compute.
    files : name and SHA-256 of each file of the series; empty for a series made in memory.
    command : what to type, from the folder above the series; empty for a series made in memory.
    """

    versions: tuple[tuple[str, str], ...]
    files: tuple[tuple[str, str], ...]
    command: str


def provenance(folder: Path | None, seed: int) -> Provenance:
    """Read the files of a series for their fingerprints; a file that is not there is left out."""
    versions = [("meltdoe", __version__), ("Python", platform.python_version())]
    versions += [(name, importlib.metadata.version(name)) for name in _LIBRARIES]
    if folder is None:
        return Provenance(tuple(versions), (), "")
    folder = Path(folder)
    paths = [series_path(folder), folder / PLAN_NAME, folder / LOG_NAME]
    files = [(path.name, hashlib.sha256(path.read_bytes()).hexdigest()) for path in paths if path.is_file()]
    name = folder.resolve().name
    shown = f'"{name}"' if any(c.isspace() for c in name) else name
    return Provenance(tuple(versions), tuple(files), f"meltdoe report {shown} --seed {seed}")
