"""Second copies that a synchronised drive leaves behind when two computers wrote at the same time.

Such drives do not merge: one version keeps the name, the other gets a name like "log (1).csv", "log (conflicted copy
2026-11-25).csv", "log.sync-conflict-20261125-101500.csv" or "log-DESKTOP.csv" (patterns as seen in use; no source).
They are named to the user and never read, changed or deleted.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

from meltdoe.errors import Problem
from meltdoe.files.quoting import quoted

__all__ = ["conflict_copies"]

_FILES = {"series": ".toml", "plan": ".csv", "log": ".csv", "journal": ".jsonl"}
_BEHIND = (
    r" ?\(.*\)",  # log (1), log (conflicted copy 2026-11-25), log(2)
    r" \d+",  # log 2
    r"[ _-]+(?i:copy|kopie|copie|copia|conflict|conflicted).*",  # log - Copy, log_conflict_2026
    r"[._-](?i:sync-conflict).*",
    r"-(?=.*[A-Z])[\w.-]+",  # log-DESKTOP, log-Workshop-PC; names in small letters are people's own
)
_COPY = re.compile(
    rf"(?:(?i:copy of|kopie von|copie de|copia de) )?(?P<stem>{'|'.join(_FILES)})(?P<behind>{'|'.join(_BEHIND)})?"
    r"(?P<suffix>\.[a-z]+)"
)
_MOST = 20
_SAFE_TO_TYPE = re.compile(r"[\w .,()'/\\:-]+")  # a shell would make something of other signs
_MENDS = {
    "log": "see what it holds beyond the log: meltdoe record --from {name} --preview; bring that in, then move it away",
    "journal": (
        "put it with a copy of series.toml into a new folder, as journal.jsonl, run there: meltdoe check . --rebuild; "
        "bring the log.csv so made in here with: meltdoe record --from FILE; then move it away"
    ),
    "plan": "compare it with plan.csv, keep the right one under that name, and move the other away",
    "series": "compare it with series.toml, keep the right one under that name, and move the other away",
}


def conflict_copies(folder: Path) -> tuple[Problem, ...]:
    """A problem for each file whose name looks like a second copy of series, plan, log or journal."""
    try:
        names = sorted(entry.name for entry in os.scandir(folder))
    except OSError:
        return ()
    found = [
        Problem(
            quoted(name)[1:-1],
            None,
            f"looks like a second copy of {match['stem']}{match['suffix']}, as a synchronised drive makes one where "
            "two computers wrote at the same time",
            _MENDS[match["stem"]].format(name=_typed(Path(folder) / name)),
        )
        for name in names
        if (match := _COPY.fullmatch(name))
        and _FILES[match["stem"]] == match["suffix"]
        and match["stem"] + match["suffix"] != name
    ]
    if len(found) > _MOST:
        rest = Problem(str(folder), None, f"holds {len(found) - _MOST} more such copies", "sort these out first")
        return (*found[:_MOST], rest)
    return tuple(found)


def _typed(path: Path) -> str:
    """The path as it can be typed in a shell."""
    return f'"{path}"' if _SAFE_TO_TYPE.fullmatch(str(path)) else "FILE"
