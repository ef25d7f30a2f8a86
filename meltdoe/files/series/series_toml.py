"""series.toml to `MeltSeries`: every key is read, checked and kept, and all problems are listed at once.

The file is read in three passes: the text (encoding, size, TOML syntax), each block by itself (`series_block`,
`series_factors`, `series_outcomes`, `series_limits`), and what the blocks say of each other. A fault is told once: what
only follows from another fault is passed over in silence.

A file without the key "format" is of format 1. One of an older format is brought up to date in memory and left as it is
on the disk, since its remarks are the user's; one of a newer format is refused.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TypeVar

from meltdoe.errors import Problem, ProblemsFound
from meltdoe.files.disk.own_folder import links_outside, read_ordinary
from meltdoe.files.disk.upgrade import FileFormat, newer_format, upgraded
from meltdoe.files.quoting import quoted
from meltdoe.files.series.series_block import Block, Notes
from meltdoe.files.series.series_chemistry import add_chemistry, read_chemistry, refuse_names_of_quantities
from meltdoe.files.series.series_factors import read_circumstance, read_factor, read_terms, refuse_clashes
from meltdoe.files.series.series_keys import SERIES_FILE
from meltdoe.files.series.series_limits import (
    ceiling_limits,
    gone_limits,
    read_limits,
    refuse_empty_region,
    refuse_too_hot,
)  # fmt: skip
from meltdoe.files.series.series_outcomes import read_beliefs, read_loss, read_outcome, refuse_broken_chain
from meltdoe.files.series.series_recipe import read_materials, read_recipe, refuse_shares
from meltdoe.files.series.series_workshop import read_cooling, read_mould, read_supplies
from meltdoe.files.series.toml_lines import KeyPath, TomlDocument, parse_toml
from meltdoe.series.budget import Budget, Costs, Kiln
from meltdoe.series.factor import Factor
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import Outcome
from meltdoe.series.recipe import Recipe

__all__ = ["SERIES", "check_series", "check_series_text", "read_series", "read_series_text", "series_path"]

# History of the format
# 1  the first
SERIES = FileFormat(SERIES_FILE, 1, {})

_LONGEST_NAME = 300
_LARGEST_FILE = 1_000_000  # bytes
_MOST = {
    "factor": 40, "outcome": 20, "limit": 100, "belief": 200, "term": 200, "circumstance": 40, "part": 20,
    "material": 100, "supply": 40,
}  # fmt: skip
_Part = TypeVar("_Part")


def read_series(folder: Path | str) -> MeltSeries:
    """The series that a folder's series.toml describes.

    Raises
    ------
    ProblemsFound
        With every problem of the file, in line order.
    """
    series, problems = check_series(folder)
    if series is None:
        raise ProblemsFound(problems)
    return series


def check_series(folder: Path | str) -> tuple[MeltSeries | None, tuple[Problem, ...]]:
    """The series of a folder, or None and all its problems in line order. Nothing is raised for a bad file."""
    try:
        text = read_series_text(folder)
    except ProblemsFound as found:
        return None, found.problems
    return check_series_text(text, series_path(folder).parent)


def series_path(folder: Path | str) -> Path:
    path = Path(folder)
    return path if path.name == SERIES_FILE and path.is_file() else path / SERIES_FILE


def read_series_text(folder: Path | str) -> str:
    """The text of a folder's series.toml, as it stands; a byte order mark is dropped.

    Raises
    ------
    ProblemsFound
        With one problem, where there is no such file or it is no text.
    """
    path = series_path(folder)
    shown = quoted(folder)

    def problem(line: int | None, what: str, mend: str) -> ProblemsFound:
        return ProblemsFound.single(SERIES_FILE, line, what, mend)

    try:
        if not path.parent.exists():
            mend = "check the name, or make a series with: meltdoe begin"
            raise ProblemsFound.single(_whole(folder), None, "there is no such folder", mend)
        if not path.parent.is_dir():
            mend = "name the folder that holds series.toml"
            raise ProblemsFound.single(_whole(folder), None, "is not a folder", mend)
        links = links_outside(path.parent)
        if links:
            raise ProblemsFound(links)
        if path.is_dir():
            raise problem(None, f"series.toml in {shown} is a folder", "rename it, then run: meltdoe begin")
        if not path.exists():
            raise problem(None, f"there is none in the folder {shown}", "make one with: meltdoe begin")
        data = read_ordinary(path, _LARGEST_FILE) or b""
    except (OSError, ValueError) as error:  # ValueError: a null character in the name
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise problem(None, f"cannot be opened ({reason})", "check the name and the file's permissions") from None
    mend = "save it from the editor with the encoding UTF-8"
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise problem(1, "the file is written in UTF-16", mend)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise problem(line, "holds a character that is not written in UTF-8", mend) from None


def _whole(folder: Path | str) -> str:
    """The name of a folder as it was typed, on one line; only one that fills several is cut."""
    plain = " ".join("".join(sign if sign.isprintable() else " " for sign in str(folder)).split())
    return plain if len(plain) <= _LONGEST_NAME else f"{plain[: _LONGEST_NAME - 3]}..."


def check_series_text(text: str, folder: Path | None = None) -> tuple[MeltSeries | None, tuple[Problem, ...]]:
    """As `check_series`, for a text; `folder` is only noted in the series."""
    if len(text) > _LARGEST_FILE:
        return None, (Problem(SERIES_FILE, None, f"the file has {len(text)} characters", "make it shorter"),)
    try:
        document = _document(unicodedata.normalize("NFC", text.removeprefix("\ufeff")))
    except ProblemsFound as found:
        return None, found.problems
    notes = Notes(document)
    series = _series(Block(notes, (), document.data, "", ""), folder)
    return (None, notes.problems) if notes.problems else (series, ())


def _document(text: str) -> TomlDocument:
    """The parsed text in the newest format."""
    document = parse_toml(text, SERIES_FILE)
    number = document.data.get("format", SERIES.newest)
    if not isinstance(number, int) or isinstance(number, bool):
        return document  # a fault that is named with all the others
    if number > SERIES.newest:
        raise newer_format(SERIES, document.line(("format",)), number)
    if number in SERIES.steps:
        return parse_toml(upgraded(SERIES, text.encode(), number).decode(), SERIES_FILE)
    return document


def _series(root: Block, folder: Path | None) -> MeltSeries | None:
    notes = root.notes
    root.whole("format")
    title = root.text("title", required=True)
    goal = root.text("goal")
    target = root.between("target_chance", 0, 1)
    seed = root.whole("seed", least=0, most=2**63 - 1)

    blocks = {key: root.blocks(key, most) for key, most in _MOST.items()}
    for key in ("factor", "outcome"):
        if key not in root or root.table[key] == []:
            root.fault(None, f"there is no [[{key}]]", f"add at least one [[{key}]] block")
    refuse_clashes([*blocks["factor"], *blocks["outcome"], *blocks["circumstance"]])
    read_factors: list[Factor | None] = [read_factor(block) for block in blocks["factor"]]
    read_outcomes = [read_outcome(block) for block in blocks["outcome"]]
    refuse_broken_chain(blocks["outcome"], read_outcomes)
    circumstances = [read_circumstance(block) for block in blocks["circumstance"]]
    factors = _by_name(blocks["factor"], read_factors)
    outcomes = _by_name(blocks["outcome"], read_outcomes)

    budget = _budget(root.block("budget"))
    kiln = _kiln(root.block("kiln"))
    mould = root.block("mould")
    moulds = mould.whole("moulds_per_melt", most=100) if mould else None
    costs = _costs(root.block("cost"), outcomes)
    limits = read_limits(blocks["limit"], factors)
    limits_sound = len(limits) == len(blocks["limit"])
    materials = read_materials(blocks["material"])
    recipe_block = root.block("recipe")
    recipe = read_recipe(recipe_block, blocks["part"], factors, materials, circumstances)
    cooling = read_cooling(root.block("cooling"), factors)
    one_mould = read_mould(mould, factors, cooling.thickness if cooling else None)
    if recipe_block is not None and recipe is not None:
        _refuse_no_mass(recipe_block, recipe, mould)
        whole = [factor for factor in read_factors if factor is not None]
        # a limit may name a factor that could not be read
        if limits_sound and len(whole) == len(read_factors):
            refuse_shares(recipe_block, recipe, blocks["part"], whole, [limit for limit, _ in limits])
    supplies = read_supplies(blocks["supply"], outcomes)
    beliefs = read_beliefs(blocks["belief"], factors, outcomes)
    terms, own_terms = read_terms(blocks["term"], factors, outcomes, recipe_block is not None)
    chemistry_block = root.block("chemistry")
    chemistry = read_chemistry(chemistry_block, outcomes, recipe_block is not None)
    if recipe_block is not None:
        refuse_names_of_quantities(blocks["factor"])

    sound = [factor for factor in read_factors if factor is not None]
    ceiling = kiln.max_temperature
    if ceiling is not None:
        limits_sound &= not refuse_too_hot(
            notes, {str(block.table.get("name")): block.path for block in blocks["factor"]}, sound, ceiling
        )
    ceilings = ceiling_limits(sound, ceiling)
    if limits_sound and len(sound) == len(blocks["factor"]) == len(factors):
        places: list[KeyPath] = [("kiln", "max_temperature")] * len(ceilings)
        refuse_empty_region(notes, sound, [*limits, *zip(ceilings, places, strict=True)])
    if notes.problems:
        return None
    series = MeltSeries(
        title=title or "",
        factors=tuple(sound),
        outcomes=tuple(outcome for outcome in read_outcomes if outcome is not None),
        goal=goal or "",
        target_chance=0.8 if target is None else target,
        seed=1 if seed is None else seed,
        budget=budget,
        kiln=kiln,
        limits=(*(limit for limit, _ in limits), *ceilings, *gone_limits(sound)),
        costs=costs,
        beliefs=beliefs,
        terms=terms,
        own_terms=own_terms,
        circumstances=tuple(circumstance for circumstance in circumstances if circumstance is not None),
        moulds_per_melt=moulds or 1,
        recipe=recipe,
        materials=materials,
        supplies=supplies,
        mould=one_mould,
        cooling=cooling,
        chemistry=chemistry,
        folder=folder,
    )
    return add_chemistry(root, chemistry_block, blocks["term"], series)


def _by_name(blocks: Sequence[Block], parts: Sequence[_Part]) -> Mapping[str, _Part]:
    """Every name that the file gives, also to a part with faults, so that such a name is not called unknown."""
    named: dict[str, _Part] = {}
    for block, part in zip(blocks, parts, strict=True):
        name = block.table.get("name")
        if isinstance(name, str):
            named.setdefault(" ".join(name.split()), part)
    return named


def _refuse_no_mass(block: Block, recipe: Recipe, mould: Block | None) -> None:
    """Fault a recipe of which nobody can say how much is to be weighed."""
    if recipe.charge is None and (mould is None or not {"volume", "casting"} & set(mould.table)):
        mend = 'add charge = "900 g" here, or volume = "350 ml" under [mould]'
        block.fault(None, "nothing says how much is weighed for a melt", mend)


def _budget(block: Block | None) -> Budget:
    if block is None:
        return Budget()
    return Budget(
        melts=block.whole("melts"),
        firings=block.whole("firings"),
        money=block.between("money", 0),
        currency=block.text("currency") or "",
    )


def _kiln(block: Block | None) -> Kiln:
    if block is None:
        return Kiln()
    return Kiln(block.whole("melts_per_firing", most=1000) or 1, block.temperature("max_temperature"))


def _costs(block: Block | None, outcomes: Mapping[str, Outcome | None]) -> Costs:
    if block is None:
        return Costs()
    melt, firing = block.between("melt", 0, ends=True), block.between("firing", 0, ends=True)
    return Costs(melt or 0.0, firing or 0.0, read_loss(block, outcomes))
