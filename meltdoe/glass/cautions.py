"""Cautions that travel with the work: which hazards a material, a step, a word or a temperature calls for.

The table (``data/cautions.csv``) names for each hazard its authority and limit and how the limit was obtained; limits
marked from memory must be checked against current law. Triggers stand in the same table:

materials
    ids; ``kind:obsidian`` for base glasses of a kind; ``raw:NiO`` for a raw material that brings the oxide,
    ``any:PbO`` for whatever brings it; ``gas`` for more than 100 litres per kg at 1100 °C; ``alkaline`` for any flux
    of soda or potash that is no borate and no nitrate, plant ash too; ``a+b|c`` for a together with b or c.
words, words_in_context
    whole words or phrases, plural or not, in British or American spelling. Those of the second column are everyday
    words and count only where the text is about hot glass at all; ``not_words`` are blanked first ("soda-lime" is not
    soda).
min_celsius; flux_materials and min_flux_parts
    thresholds. Where the parts are not given the share is unknown, and the unknown counts as above the threshold.

The row ``defer`` belongs to everything and always comes last.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from meltdoe.glass.batch_weights import litres_per_mole
from meltdoe.glass.materials import Material, find_material, material_names, plain
from meltdoe.glass.oxides import nearest
from meltdoe.glass.reference_tables import Row, number, table

__all__ = ["STEPS", "Caution", "all_cautions", "cautions_for", "cautions_from_words"]

STEPS = (
    "crushing", "sieving", "dry_mixing", "weighing", "charging", "melting", "looking_in", "firing", "gas_firing",
    "pouring", "ladling", "crucible_lift", "crucible_reuse", "mould_making", "burn_out", "bed_cooling", "cooling",
    "annealing", "unloading", "shake_out", "handling_castings", "grinding", "kiln_opening",
    "thermocouple_work", "furnace_repair",
)  # fmt: skip
"""Steps of the work that may call for a caution."""

# litres per kg at 1100 °C: carbonates give 570 to 2000, hydrated borax 1900 to 3000, obsidian 6 to 40
_MUCH_GAS = 100.0
_NITROUS = {"N2", "NO2"}
_TRACE = 0.01  # kg per kg of an oxide in a raw material that is no longer a trace
_HOT = 300.0  # °C from which a text counts as one about hot work
_HOT_WORK = (
    "glass", "obsidian", "rhyolite", "basalt", "volcanic", "cullet", "frit", "molten", "kiln", "furnace", "crucible",
    "annealer", "lehr", "flux",
)  # fmt: skip
# "melt" alone may be chocolate; together with one of these it is a glass or a metal
_MELTING = ("melt", "melted", "melting")
_BATCH = ("soda", "potash", "borax", "silica", "sand", "lithium")
_BRITISH = (("mold", "mould"), ("fiber", "fibre"), ("color", "colour"), ("sulph", "sulf"), ("aluminum", "aluminium"),
            ("saltpeter", "saltpetre"), ("niter", "nitre"))  # fmt: skip
_DEGREES = re.compile(r"(\d{2,4}(?:[.,]\d+)?)\s*(?:°|º|deg(?:rees)?)?\s*([CF])\b")


@dataclass(frozen=True, slots=True)
class Caution:
    """One hazard and what to do about it.

    Parameters
    ----------
    id, short : its name in the table, and in two or three words of the bench.
    hazard, applies_when, what_to_do : what, where and the usual care.
    authority, limit_value : who sets the limit and the limit, "-" where there is none.
    how_obtained : whether the limit was seen in print or comes from memory.
    because : what called for it, for example ``"material soda_ash"`` or ``'word "ladle"'``.
    """

    id: str
    short: str
    hazard: str
    applies_when: str
    what_to_do: str
    authority: str
    limit_value: str
    how_obtained: str
    because: tuple[str, ...] = ()


def all_cautions() -> tuple[Caution, ...]:
    """The whole table, `defer` last."""
    return tuple(_caution(row, ()) for row in table("cautions"))


def cautions_for(
    *,
    materials: Iterable[str] | Mapping[str, float] = (),
    steps: Iterable[str] = (),
    words: str | Iterable[str] = (),
    temperatures: Iterable[float] = (),
    own: Mapping[str, Material] = MappingProxyType({}),
) -> tuple[Caution, ...]:
    """The cautions that a piece of work calls for, in the order of the table, `defer` last.

    Parameters
    ----------
    materials : names, or parts by weight by name, which lets the flux thresholds be checked.
    steps : of `STEPS`.
    words : free text, or pieces of it.
    temperatures : °C reached.
    own : the maker's own materials and earlier melts by name.

    Raises
    ------
    ValueError
        For an unknown material or step.
    """
    pieces = [words] if isinstance(words, str) else list(words)
    text = _spelled("  |  ".join(pieces))
    reached = [*temperatures, *(degrees for piece in pieces for degrees in _temperatures(piece))]
    hot = max(reached, default=-273.15) >= _HOT or _about_hot_work(text)
    present = {name: _look_up(name, own) for name in materials}
    if hot:
        present |= {name: _look_up(name, own) for name in _materials_in(text) if name not in present}
    hot = hot or bool(present)
    parts = materials if isinstance(materials, Mapping) else None
    done = tuple(steps)
    for step in done:
        if step not in STEPS:
            raise ValueError(f'step "{step}" is not known{nearest(step, STEPS)}; steps are {", ".join(STEPS)}')

    chosen = []
    for row in table("cautions"):
        because = [
            *_by_material(row, present),
            *_by_flux(row, present, parts),
            *(f"step {step.replace('_', ' ')}" for step in done if step in _cells(row, "steps")),
            *_by_word(row, text, hot),
        ]
        if row["min_celsius"] and max(reached, default=-273.15) >= number(row, "min_celsius"):
            because.append(f"{max(reached):.0f} °C")
        if row["id"] == "defer":
            because.append("all work")
        if because:
            chosen.append(_caution(row, tuple(dict.fromkeys(because))))
    return tuple(chosen)


def cautions_from_words(text: str) -> tuple[Caution, ...]:
    """The cautions that free text calls for: names, labels, options, titles and questions, joined in any order.

    Materials and steps are found by whole words, and temperatures such as "1150 °C" or "2100 °F" are read.
    """
    return cautions_for(words=text)


def _caution(row: Row, because: tuple[str, ...]) -> Caution:
    return Caution(
        id=row["id"],
        short=row["short"],
        hazard=row["hazard"],
        applies_when=row["applies_when"],
        what_to_do=row["what_to_do"],
        authority=row["authority"],
        limit_value=row["limit_value"],
        how_obtained=row["how_obtained"],
        because=because,
    )


def _cells(row: Row, column: str) -> list[str]:
    return row[column].split(";") if row[column] else []


def _look_up(name: str, own: Mapping[str, Material]) -> tuple[str, Material]:
    """Id and material; a refused material has an id and no yields, since its caution is wanted all the same."""
    if plain(name) not in {plain(key) for key in own} and plain(name) in material_names():
        id = material_names()[plain(name)]
        refused = next((row["refused"] for row in table("raw_materials") if row["id"] == id), "")
        if refused:
            return id, Material(id, name, {}, role="refused", refused=refused)
    material = find_material(name, own)
    return material.id, material


@cache
def _kinds() -> Mapping[str, str]:
    return {row["id"]: row["kind"] for row in table("base_glasses")}


def _meets(token: str, id: str, material: Material) -> bool:
    """Whether one material answers one token of the column `materials`."""
    sort, _, value = token.partition(":")
    if sort == "kind":
        return _kinds().get(id, "").startswith(value)
    if sort == "raw":
        return material.role != "glass" and material.oxides.get(value, 0.0) > _TRACE
    if sort == "any":
        return material.oxides.get(value, 0.0) > 0.0
    if sort == "alkaline":
        alkali = material.oxides.get("Na2O", 0.0) + material.oxides.get("K2O", 0.0)
        return (
            material.role == "flux" and alkali > material.oxides.get("B2O3", 0.0) and not material.gas.keys() & _NITROUS
        )
    if sort == "gas":
        return sum(material.gas.values()) * litres_per_mole() > _MUCH_GAS
    return id == token


def _by_material(row: Row, present: Mapping[str, tuple[str, Material]]) -> list[str]:
    because = []
    for token in _cells(row, "materials"):
        first, _, second = token.partition("+")
        for name, (id, material) in present.items():
            if not _meets(first, id, material):
                continue
            if not second:
                because.append(f"material {name}")
                continue
            because += [
                f"material {name} with {other}"
                for other, (other_id, other_material) in present.items()
                if any(_meets(partner, other_id, other_material) for partner in second.split("|"))
            ]
    return because


def _by_flux(row: Row, present: Mapping[str, tuple[str, Material]], parts: Mapping[str, float] | None) -> list[str]:
    tokens = _cells(row, "flux_materials")
    counted = [name for name, known in present.items() if any(_meets(token, *known) for token in tokens)]
    if not counted:
        return []
    if parts is None:
        return [f"{name}, share not given" for name in counted]
    rock = sum(share for name, share in parts.items() if present[name][1].role == "glass")
    flux = sum(parts.get(name, 0.0) for name in counted)
    if rock > 0.0 and 100.0 * flux / rock <= number(row, "min_flux_parts"):
        return []
    return [f"{' and '.join(counted)} above {row['min_flux_parts']} parts per 100"] if flux > 0.0 else []


def _by_word(row: Row, text: str, hot: bool) -> list[str]:
    for phrase in _cells(row, "not_words"):
        text = _pattern(phrase).sub("|", text)
    words = _cells(row, "words") + (_cells(row, "words_in_context") if hot else [])
    return [f'word "{word}"' for word in words if _found(word, text)]


@cache
def _pattern(phrase: str) -> re.Pattern[str]:
    return re.compile(rf"(?<![a-z0-9]){re.escape(_spelled(phrase))}(?:s|es)?(?![a-z0-9])")


def _found(phrase: str, text: str) -> bool:
    return _pattern(phrase).search(text) is not None


def _spelled(text: str) -> str:
    """Lower case, British, blanks between words; a bar stays as a border that no phrase reaches across."""
    lower = text.lower()
    for american, british in _BRITISH:
        lower = lower.replace(american, british)
    return re.sub(r"[^a-z0-9|]+", " ", lower).strip()


def _about_hot_work(text: str) -> bool:
    if any(_found(word, text) for word in _HOT_WORK):
        return True
    return any(_found(word, text) for word in _MELTING) and any(_found(word, text) for word in _BATCH)


def _materials_in(text: str) -> list[str]:
    """Names of materials of two words or more, and formulas, in the text; single words are left to the table."""
    return [name for name in material_names() if (" " in name or any(c.isdigit() for c in name)) and _found(name, text)]


def _temperatures(text: str) -> list[float]:
    degrees = []
    for value, unit in _DEGREES.findall(text):
        given = float(value.replace(",", "."))
        degrees.append(given if unit == "C" else (given - 32.0) / 1.8)
    return degrees
