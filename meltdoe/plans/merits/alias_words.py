"""What a plan mixes up, as one phrase: whole, or cut to what can be taken in at a glance."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from meltdoe.wording import listed

__all__ = ["aliased_words"]

_NOTICED = 0.05  # below this a correlation is not mentioned
_GROUPS, _PARTNERS = 3, 3  # shown of each kind, and in each group, where it is to be brief


def aliased_words(
    mixed_up: Sequence[tuple[str, ...]], partly: float, mains: Collection[str], *, brief: bool = False
) -> str:
    """The groups of effects that cannot be told apart, those with main effects first.

    Parameters
    ----------
    mixed_up : groups of names.  partly : strongest correlation of a main effect with anything else, below 1.
    mains : names of the main effects.
    brief : at most three groups of each kind and three partners in each; the others are counted.
    """
    with_mains = [group for group in mixed_up if not set(mains).isdisjoint(group)]
    crosses = [group for group in mixed_up if set(mains).isdisjoint(group)]
    said = []
    if with_mains:
        said.append(f"mixed up: {_groups(with_mains, brief)}")
    if crosses:
        clear = not with_mains and partly <= _NOTICED
        front = "main effects are clear; among interactions " if clear else "" if with_mains else "interactions: "
        said.append(front + _groups(crosses, brief))
    if partly > _NOTICED:
        said.append(f"main effects are partly mixed up with other effects (correlation up to {partly:.2f})")
    return "; ".join(said) or "main effects and two-factor interactions can all be told apart"


def _groups(groups: Sequence[tuple[str, ...]], brief: bool) -> str:
    shown = groups[:_GROUPS] if brief else groups
    more = len(groups) - len(shown)
    said = [_mixed(group, brief) for group in shown]
    return "; ".join([*said, f"and {more} more such group{'s' * (more != 1)}"] if more else said)


def _mixed(group: tuple[str, ...], brief: bool) -> str:
    first, *others = group
    return f"{first} with {listed(others, _PARTNERS if brief else None)}"
