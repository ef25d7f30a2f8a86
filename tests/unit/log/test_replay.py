"""The journal replayed: rows, their order, and every version of each."""

import pytest

from meltdoe.errors import ProblemsFound
from meltdoe.log.event import Event, event_fault
from meltdoe.log.replay import last_undoable, states

TIME = "2026-11-25T12:00:00+01:00"


def replayed(*told):
    return states([Event(i, TIME, kind, data) for i, (kind, data) in enumerate(told, start=1)], "journal.jsonl")


def rows(*pairs):
    return {"rows": [{"melt": melt, "fill": fill} for melt, fill in pairs]}


STEPS = [
    ("record", rows((1, 10), (2, 20))),
    ("plan", {"melts": [], "design": "", "reason": "", "seed": 1}),
    ("correct", rows((1, 11))),
    ("remove", {"melt": 1}),
    ("record", rows((1, 12))),
    ("undo", {"event": 5}),
    ("undo", {"event": 4}),
    ("undo", {"event": 3}),
    ("spreadsheet edit", rows((3, 30))),
]


def test_every_state_can_be_seen_again_in_the_order_of_the_melts():
    found = replayed(*STEPS)
    shown = [[(key[0], row["fill"]) for key, row in found[i].items()] for i in range(len(found))]
    first = [(1, 10), (2, 20)]
    assert shown == [
        [], first, first, [(1, 11), (2, 20)], [(2, 20)], [(2, 20), (1, 12)], [(2, 20)], [(1, 11), (2, 20)], first,
        [*first, (3, 30)],
    ]  # fmt: skip
    assert found[-1] == found.last
    with pytest.raises(IndexError):
        found[len(found)]


def test_the_versions_of_a_row_name_the_events_that_made_them():
    found = replayed(*STEPS)
    versions = [(number, row and row["fill"]) for number, row in found.versions[1, 1]]
    assert versions == [(1, 10), (3, 11), (4, None), (5, 12), (6, None), (7, 11), (8, 10)]
    assert found.patches[1] == {}
    assert found.patches[3] == {(1, 1): ({"melt": 1, "fill": 11}, None)}


def test_a_mould_is_taken_out_by_itself_or_with_its_melt():
    both = ("record", {"rows": [{"melt": 1, "mould": 1}, {"melt": 1, "mould": 2}]})
    assert list(replayed(both, ("remove", {"melt": 1, "mould": 2})).last) == [(1, 1)]
    assert replayed(both, ("remove", {"melt": 1, "mould": None})).last == {}


@pytest.mark.parametrize("taken_back", [1, 2, 3, 9])
def test_only_the_last_change_in_force_can_be_taken_back(taken_back):
    with pytest.raises(ProblemsFound, match=f"line 3: takes back event {taken_back}"):
        replayed(STEPS[0], STEPS[1], ("undo", {"event": taken_back})) if taken_back != 1 else replayed(
            STEPS[0], STEPS[2], ("undo", {"event": 1})
        )


def test_the_last_undoable_change_is_the_top_of_those_in_force():
    events = [Event(i, TIME, kind, data) for i, (kind, data) in enumerate(STEPS, start=1)]
    assert [(last := last_undoable(events[:i])) and last.number for i in range(len(events) + 1)] == [
        None, 1, 1, 3, 4, 5, 4, 3, 1, 9,
    ]  # fmt: skip


def test_a_sound_event_has_no_fault():
    for number, (kind, data) in enumerate(STEPS, start=1):
        assert event_fault({"number": number, "time": TIME, "kind": kind, "data": data}, number) is None
