"""What happened as a picture: how far each melt got along the stages of the work, and what was seen on the way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby
from typing import Any

from matplotlib.axes import Axes

from meltdoe.fit.stages.phrases import capital
from meltdoe.log.melt_log import Entry, Log
from meltdoe.report.figures.style import (
    BLACK,
    BLUE,
    GREY,
    MICRO,
    PALE,
    SMALL,
    VERMILION,
    WIDTH,
    Picture,
    drawing,
    in_inches,
    key_line,
    new_figure,
    quiet,
)
from meltdoe.report.plain_text import shortened, wrapped
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import Outcome, Seen, Unseen

__all__ = ["log_picture", "log_pictures", "main_line"]

_MOST_ROWS = 60  # more bands could not be read on a printed page

_ROW = 0.215  # inches, as all that follow
_LEFT, _FOOT = 0.82, 0.6
_NARROW, _COLUMN = 0.55, 1.1  # narrowest and widest column
_LETTER, _NAME_LETTER = 0.056, 0.066  # a letter of a value, of a name
_APART = 0.12  # between the line of the work and what stands beside it
_STAR = 0.18  # room behind the last mark for the star
_SEEN: dict[bool | None, dict[str, Any]] = {
    True: {"marker": "o", "ms": 5.0, "mfc": BLUE, "mec": BLUE},
    False: {"marker": "x", "ms": 5.0, "mec": VERMILION, "mew": 2.0},
    None: {"marker": "s", "ms": 4.2, "mfc": "white", "mec": GREY, "mew": 1.0},
}
_KEY: tuple[tuple[dict[str, Any] | None, str], ...] = (
    (_SEEN[True], "good"),
    (_SEEN[False], "not good"),
    (_SEEN[None], "described"),
    (None, "later, lost"),
    ({"marker": "*", "ms": 7.5, "mfc": BLACK, "mec": BLACK, "mew": 0.3}, "all good"),
)


def main_line(series: MeltSeries) -> tuple[tuple[Outcome, ...], tuple[Outcome, ...]]:
    """The longest line of outcomes one after another, and the outcomes that stand beside it."""
    lines = [(*series.forerunners(o.name), o) for o in series.outcomes]
    longest = max(lines, key=lambda line: (len(line), sum(o.counts for o in line)), default=())
    names = {o.name for o in longest}
    return longest, tuple(o for o in series.outcomes if o.name not in names)


def log_pictures(log: Log) -> tuple[Picture, ...]:
    """A band for every melt, in as many figures of one page each as they need."""
    entries = sorted(log.entries, key=lambda e: (e.firing, e.melt, e.mould))
    n = -(-len(entries) // _MOST_ROWS)
    rows = -(-len(entries) // max(n, 1))
    parts = [log_picture(Log(log.series, tuple(entries[i * rows : (i + 1) * rows]))) for i in range(n)]
    return tuple(
        picture if n == 1 else replace(picture, name=f"melts-{i}", title=f"{picture.title}, part {i} of {n}")
        for i, picture in enumerate(parts, start=1)
        if picture is not None
    )


def log_picture(log: Log) -> Picture | None:
    """A band for every melt, as long as it got; None where nothing was melted."""
    if not log.entries:
        return None
    series = log.series
    line, beside = main_line(series)
    entries = sorted(log.entries, key=lambda e: (e.firing, e.melt, e.mould))
    columns = [*line, *beside]
    wide = WIDTH - _LEFT - 0.03
    widths = _widths(log, columns, wide - _STAR - (_APART if beside else 0.0))
    starts = [sum(widths[:i]) for i in range(len(columns))]
    end = sum(widths[: len(line)])
    left = [start + (_APART if i >= len(line) else 0.0) for i, start in enumerate(starts)]
    star = left[-1] + widths[-1] + _STAR - 0.1
    names = [
        wrapped(outcome.name.replace("_", " "), int(column / _NAME_LETTER), 2)
        for outcome, column in zip(columns, widths, strict=True)
    ]
    head = 0.44 if any("\n" in name for name in names) else 0.31
    rows = len(entries)
    with drawing():
        figure = new_figure(head + rows * _ROW + _FOOT)
        body = in_inches(figure, _LEFT, _FOOT, wide, rows * _ROW, xlim=(0, wide), ylim=(rows - 0.5, -0.5))
        quiet(body, "left", "bottom", "top", "right")
        _bands(body, log, entries, line, [*left[1 : len(line)], end], star)
        marked: dict[bool | None, list[tuple[float, int]]] = {True: [], False: [], None: []}
        for y, entry in enumerate(entries):
            for outcome, x, column in zip(columns, left, widths, strict=True):
                seen = entry.seen.get(outcome.name, Unseen.NOT_REACHED)
                if not isinstance(seen, Unseen):
                    marked[outcome.is_good(seen)].append((x + 0.13, y))
                _say(body, outcome, seen, x + 0.13, y, column)
        for good, places in marked.items():
            body.plot([x for x, _ in places], [y for _, y in places], ls="none", zorder=4, **_SEEN[good])
        _row_names(body, entries, series.moulds_per_melt > 1)
        for outcome, name, x in zip(columns, names, left, strict=True):
            body.text(x + 0.06, -0.75, name, fontsize=SMALL, va="bottom", linespacing=1.0)
            n_good, n_seen = _counts(log, outcome)
            count = f"{n_good} of {n_seen}" if outcome.counts else f"{n_seen} seen"
            body.text(x + 0.06, rows - 0.3, count, fontsize=SMALL, color=GREY, va="top")
        body.text(-0.08, rows - 0.3, "good", fontsize=SMALL, color=GREY, ha="right", va="top")
        key_line(figure, _KEY)
    what = "casting" if series.moulds_per_melt > 1 else "melt"
    succeeded = [log.succeeded(entry) for entry in entries]
    judged = any(outcome.counts for outcome in series.outcomes)
    ends = (
        f"{succeeded.count(True)} good throughout, {succeeded.count(False)} not, {succeeded.count(None)} not known. "
        if judged
        else "none is judged. "
    )
    return Picture(
        "melts",
        figure,
        f"How far each {what} got",
        f"{rows} {what}{'s' * (rows != 1)}: {ends}" + " ".join(_told(log, outcome) for outcome in columns),
        f"{rows} {what}{'s' * (rows != 1)}, one band each, as long as it got; at the right end a star where everything "
        "that is judged was good. An empty place was never reached, or cannot be known while a stage before it is "
        "later or lost; neither is the same as failed."
        + (" Columns set apart stand beside the line of the work." if beside else ""),
    )


def _widths(log: Log, columns: Sequence[Outcome], room: float) -> list[float]:
    """Width of each column: what its name and values need, less where there is not room enough for all."""
    wanted = []
    for outcome in columns:
        longest = max((len(_said(outcome, value)) for value in log.seen(outcome.name)), default=0)
        name = max(len(word) for word in outcome.name.split("_"))
        need = max(_NARROW, 0.22 + _LETTER * longest if longest else 0.0, 0.08 + _NAME_LETTER * name)
        wanted.append(min(need, _COLUMN))
    spare = room - sum(wanted)
    if spare < 0:
        return [width * room / sum(wanted) for width in wanted]
    return [min(width + spare / len(wanted), max(width, 0.8)) for width in wanted]


def _said(outcome: Outcome, seen: Seen) -> str:
    """A grade or a number; nothing for yes and no, which the mark says."""
    if isinstance(seen, Unseen) or outcome.kind == "pass":
        return ""
    return f"{outcome.show(seen)}{'%' if outcome.unit == '%' else ''}"


def _bands(
    body: Axes, log: Log, entries: Sequence[Entry], line: Sequence[Outcome], ends: Sequence[float], star: float
) -> None:
    """Bands as long as the melts got; `ends` are the right ends of the columns, `star` where a melt all good has it."""
    judged = any(outcome.counts for outcome in log.series.outcomes)
    lengths, stars = [], []
    for y, entry in enumerate(entries):
        reached = [i for i, o in enumerate(line) if entry.seen.get(o.name, Unseen.NOT_REACHED) != Unseen.NOT_REACHED]
        succeeded = judged and log.succeeded(entry) is True
        lengths.append(ends[max(reached)] if reached else 0.03)
        stars += [y] if succeeded else []
    rows = list(range(len(entries)))
    body.hlines(rows, 0, ends[-1], color=PALE, lw=0.5, zorder=1)
    body.hlines(rows, 0, lengths, color="#DCECF7", lw=72 * 0.72 * _ROW, capstyle="butt", zorder=2)
    body.plot([star] * len(stars), stars, "*", ms=7.5, mfc=BLACK, mec=BLACK, mew=0.3, zorder=4)


def _say(body: Axes, outcome: Outcome, seen: Seen, x: float, y: int, column: float) -> None:
    """The word for what was not seen, or behind the mark the grade or the number."""
    if isinstance(seen, Unseen):
        if seen is not Unseen.NOT_REACHED:
            body.text(x - 0.06, y + 0.02, seen.value, fontsize=MICRO, style="italic", va="center", zorder=5)
        return
    said = _said(outcome, seen)
    if said:
        said = shortened(said, max(4, int((column - 0.21) / _LETTER)))
        body.text(x + 0.08, y + 0.02, said, fontsize=MICRO, va="center", zorder=5)


def _row_names(body: Axes, entries: Sequence[Entry], with_mould: bool) -> None:
    for y, entry in enumerate(entries):
        name = f"{entry.melt}.{entry.mould}" if with_mould else f"{entry.melt}"
        body.text(-0.08, y + 0.02, name, fontsize=SMALL, ha="right", va="center")
    body.text(-0.08, -0.75, "melt", fontsize=SMALL, ha="right", va="bottom")
    for firing, group in groupby(range(len(entries)), key=lambda i: entries[i].firing):
        run = list(group)
        body.plot([-0.4, -0.4], [run[0] - 0.4, run[-1] + 0.4], color=GREY, lw=0.9, clip_on=False)
        middle = (run[0] + run[-1]) / 2 + 0.02
        body.text(-0.45, middle, f"{firing}", fontsize=SMALL, color=GREY, ha="right", va="center")
    body.text(-0.41, -0.75, "firing", fontsize=SMALL, color=GREY, ha="right", va="bottom")


def _counts(log: Log, outcome: Outcome) -> tuple[int, int]:
    chain = [one for one in log.series.forerunners(outcome.name) if one.counts]
    seen = [
        value
        for entry, value in zip(log.entries, log.seen(outcome.name), strict=True)
        if not isinstance(value, Unseen) and all(one.is_good(entry.seen[one.name]) is True for one in chain)
    ]
    return sum(outcome.is_good(value) is True for value in seen), len(seen)


def _told(log: Log, outcome: Outcome) -> str:
    n_good, n_seen = _counts(log, outcome)
    waiting = [value.value for value in log.seen(outcome.name) if value in (Unseen.LATER, Unseen.LOST)]
    more = "".join(f", {waiting.count(word)} {word}" for word in ("later", "lost") if word in waiting)
    name = capital(outcome.name.replace("_", " "))
    return f"{name}: {n_good} of {n_seen} good{more}." if outcome.counts else f"{name}: {n_seen} seen{more}."
