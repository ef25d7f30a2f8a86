"""Where the files that come with meltdoe lie: published design tables and worked examples.

An installed package holds them inside itself; in a checkout they lie beside the package.
"""

from __future__ import annotations

from pathlib import Path

__all__ = ["shipped_folder"]

_FOLDERS = ("designs", "examples")


def shipped_folder(name: str) -> Path:
    """Folder `designs` or `examples`.

    Raises
    ------
    ValueError
        For another name.
    FileNotFoundError
        Where the installation lacks the folder.
    """
    if name not in _FOLDERS:
        raise ValueError(f"meltdoe ships {' and '.join(_FOLDERS)}, not {name!r}")
    package = Path(__file__).resolve().parent
    for folder in (package / name, package.parent / name):
        if folder.is_dir():
            return folder
    raise FileNotFoundError(f"the folder {name!r} that comes with meltdoe is missing; install meltdoe again")
