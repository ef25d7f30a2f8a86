"""Any log comes back from any spreadsheet; the journal replayed is the log; damage is named and nothing else."""

import csv
import datetime
import io
import random
import tempfile
from contextlib import contextmanager
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from meltdoe.errors import ProblemsFound
from meltdoe.files.store.journal import read_journal
from meltdoe.files.store.log_csv import check_log, log_text, parse_log, read_log
from meltdoe.files.store.plan_csv import read_plan, write_plan
from meltdoe.files.store.recording import history, rebuild, record_melt, remove_melt, undo
from meltdoe.files.store.settling import settle
from meltdoe.files.tables.csv_table import parse_table, table_text
from meltdoe.log import Entry
from meltdoe.log.cell_words import clean_text, read_circumstance
from meltdoe.log.entry import entry_row
from meltdoe.log.replay import states
from meltdoe.plans.melt_plan import Plan, PlannedMelt
from meltdoe.series import Amount, Choice, Circumstance, GoodRange, MeltSeries, Ordered, Outcome, Unseen

SERIES = MeltSeries(
    "Invented",
    (
        Amount("flux", 15, 40, unit="wt%"),
        Amount("peak", 1100, 1250, unit="°C", set_per="firing"),
        Choice("sand", ("coarse", "fine", "-325 mesh", "½, washed")),
        Ordered("grind", ("0.5", "1", "2")),
    ),
    (
        Outcome("contained", "pass"),
        Outcome("fill", "measured", unit="%", bounds=(0, 100), after="contained", good=GoodRange(low=50)),
        Outcome("cracks", "grade", grades=("none", "hair line", "open"), after="fill", good=("none",)),
        Outcome("colour", "grade", grades=("black", "green")),
    ),
    circumstances=(Circumstance("humidity", unit="%"), Circumstance("pot")),
)
NAMES = [factor.name for factor in SERIES.factors]

LETTERS = "abZ09 äß°½𝔊=+-@'\";:,|\t\n\r\0\x85\u2028\u200b\ufeff"
texts = st.text(LETTERS, max_size=12).map(clean_text) | st.sampled_from(
    ["=1+1", '-"x"; y', "a\nb", "'=@", '""', "1,5;2", "\ttab", "+", "ran | slowly", "later"]
).map(clean_text)
fractions = st.integers(0, 25_000).map(lambda n: n / 1000)


@st.composite
def outcomes(draw):
    seen = {
        "contained": Unseen.NOT_REACHED,
        "fill": Unseen.NOT_REACHED,
        "cracks": Unseen.NOT_REACHED,
        "colour": draw(st.sampled_from(["black", "green", Unseen.LATER, Unseen.LOST])),
    }
    seen["contained"] = draw(st.sampled_from([True, True, False, *Unseen]))
    if seen["contained"] is True:
        seen["fill"] = draw(fractions.map(lambda x: 4 * x) | st.sampled_from([Unseen.LATER, Unseen.LOST]))
    if isinstance(seen["fill"], float) and seen["fill"] >= 50:
        seen["cracks"] = draw(st.sampled_from(["none", "hair line", "open", Unseen.LATER, Unseen.LOST]))
    return seen


@st.composite
def entries(draw, melt):
    pot = read_circumstance(SERIES.circumstances[1], draw(texts))
    humidity = draw(st.none() | st.integers(0, 1000).map(lambda n: n / 10))
    around = {"humidity": humidity, "pot": pot}
    unknown = draw(st.sets(st.sampled_from(NAMES), max_size=2))
    set_to = {
        "flux": 15 + draw(fractions),
        "peak": 1100 + 10 * draw(fractions),
        "sand": draw(st.sampled_from(SERIES.factors[2].options)),
        "grind": draw(st.sampled_from(SERIES.factors[3].options)),
    }
    return Entry(
        melt,
        draw(st.integers(1, 9)),
        {name: value for name, value in set_to.items() if name not in unknown},
        draw(outcomes()),
        draw(st.none() | st.dates(datetime.date(2000, 1, 1), datetime.date(2099, 12, 31))),
        {name: value for name, value in around.items() if value is not None},
        draw(texts),
    )


@st.composite
def logs(draw):
    numbers = draw(st.lists(st.integers(1, 60), max_size=4, unique=True))
    return tuple(draw(entries(melt)) for melt in numbers)


def written(log):
    return log_text(SERIES, [entry_row(SERIES, entry) for entry in log])


def as_spreadsheet(text, separator, comma, encoding):
    """What a spreadsheet of another country makes of the file: its separator, decimal mark, dates and encoding."""
    table = list(csv.reader(io.StringIO(text, newline="")))
    numeric = [table[0].index(name) for name in ("flux", "peak", "fill", "humidity")]
    day = table[0].index("date")
    for row in table[1:]:
        for i in numeric:
            row[i] = row[i].replace(".", ",") if comma else row[i]
        if comma and row[day]:
            row[day] = ".".join(reversed(row[day].split("-")))
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=separator, lineterminator="\r\n").writerows([[*row, "", ""] for row in [*table, [], []]])
    return out.getvalue().encode(encoding)


@settings(max_examples=50, deadline=None)
@given(logs())
def test_a_log_comes_back_from_its_own_file(log):
    rows, problems = parse_log(SERIES, written(log).encode())
    assert problems == ()
    assert tuple(entry for entry, _ in rows) == log


@settings(max_examples=50, deadline=None)
@given(logs(), st.sampled_from([";", "\t", "|", ","]), st.booleans(), st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]))
def test_a_log_comes_back_from_a_spreadsheet(log, separator, comma, encoding):
    content = as_spreadsheet(written(log), separator, comma, encoding)
    rows, problems = parse_log(SERIES, content)
    assert problems == ()
    assert tuple(entry for entry, _ in rows) == log


@settings(deadline=None)
@given(st.lists(st.tuples(texts, texts), max_size=5))
def test_any_texts_come_back_from_a_table_and_none_is_a_formula(rows):
    content = table_text(("one", "two"), rows)
    table = parse_table(content.encode(), "any.csv", ("one", "two"))
    assert [row.cells for row in table.rows if any(row.cells)] == [
        row if row[1] else (row[0], "") for row in rows if any(row)
    ]
    for row in csv.reader(io.StringIO(content, newline="")):
        assert all(not cell.startswith(("=", "+", "-", "@", "\t", "\r")) for cell in row)


@contextmanager
def folder():
    with tempfile.TemporaryDirectory() as place:
        yield Path(place)


def at(place):
    return MeltSeries(
        SERIES.title, SERIES.factors, SERIES.outcomes, circumstances=SERIES.circumstances, folder=Path(place)
    )


steps = st.lists(
    st.tuples(st.sampled_from(["record", "correct", "remove", "undo", "edit"]), st.integers(1, 3).flatmap(entries)),
    max_size=8,
)


@settings(max_examples=12, deadline=None)
@given(steps)
def test_the_journal_replayed_is_the_log_after_any_steps(todo):
    with folder() as place:
        series = at(place)
        model, before, refusals = {}, [], []
        for step, entry in todo:
            named = dict.fromkeys(NAMES, "unknown") | entry.settings
            said = {
                "settings": named, "seen": entry.seen, "circumstances": entry.circumstances,
                "note": entry.note, "date": entry.date, "firing": entry.firing,
            }  # fmt: skip
            new = dict(model)
            if step in ("record", "correct") and (entry.melt in model) == (step == "correct"):
                try:
                    result = record_melt(series, entry.melt, correct=step == "correct", **said)
                except ProblemsFound as found:
                    refusals.append(str(found))
                    continue
                new[entry.melt] = result.entry
                assert step == "correct" or result.entry == entry
            elif step == "remove" and entry.melt in model:
                remove_melt(series, entry.melt, "by chance")
                del new[entry.melt]
            elif step == "edit" and entry.melt in model:
                new[entry.melt] = entry
                (place / "log.csv").write_text(written(new.values()), encoding="utf-8")
                try:
                    changed = settle(series).changes
                except ProblemsFound:  # it holds what a later command replaced: asked about, not taken in
                    rebuild(series)
                    new = dict(model)
                else:
                    new = new if changed else dict(model)
            elif step == "undo" and before:
                undo(series)
                new = before.pop()
                model = new
                assert read_log(series).entries == tuple(model.values())
                continue
            if new != model:
                before.append(model)
            model = new
            log = read_log(series)
            assert log.entries == tuple(model.values())
            assert parse_log(series, written(log.entries).encode())[1] == ()
        journal = read_journal(place / "journal.jsonl")
        replayed = states(journal.events, "journal.jsonl")[-1]
        assert list(replayed.values()) == [entry_row(series, entry) for entry in model.values()]
        assert len(history(series)) == len(journal.events)
        assert all("says nothing of what was seen" in refusal for refusal in refusals)


@pytest.fixture(scope="module")
def sound():
    """A folder with a plan and four melts, and the bytes of its files."""
    with folder() as place:
        series = at(place)
        settled = {"peak": 1200.0, "sand": "fine", "grind": "1"}
        melts = tuple(PlannedMelt(i, i, i, {"flux": 15.0 + i, **settled}, "fraction") for i in range(1, 6))
        write_plan(series, Plan(series, melts, "fraction", "a first look", 7))
        record_melt(series, 1, seen={"contained": "no", "colour": "black"}, note='ran; "slowly", =x')
        record_melt(series, 2, seen={"contained": "yes", "fill": "40.5", "colour": "green"}, date="2026-11-25")
        record_melt(series, 3, seen={"contained": "yes", "fill": "later", "colour": "later"})
        record_melt(series, 3, seen={"fill": 88.25, "cracks": "open"}, circumstances={"humidity": "61.5"})
        remove_melt(series, 1, "another charge")
        yield series, {path.name: path.read_bytes() for path in place.iterdir()}


def damaged(content, chance):
    """One of the ways in which a file is damaged: a byte, a stretch, a repeat, a cut."""
    data = bytearray(content)
    for _ in range(chance.randint(1, 3)):
        i = chance.randrange(len(data) + 1)
        j = min(len(data), i + chance.randint(0, 40))
        way = chance.randrange(6)
        if way == 0 and i < len(data):
            data[i] = chance.randrange(256)
        elif way == 1:
            del data[i:j]
        elif way == 2:
            data[i:i] = data[i:j]
        elif way == 3:
            data[i:i] = bytes(chance.randrange(256) for _ in range(chance.randint(1, 8)))
        elif way == 4:
            del data[i:]
        else:
            data[i:i] = chance.choice([b'"', b",", b";", b"\n", b"\r", b"=", b"\0", b"1e999", b"-", "½".encode()])
    return bytes(data)


@pytest.mark.parametrize("name", ["log.csv", "plan.csv", "journal.jsonl"])
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 2**32))
def test_any_damage_is_named_and_reading_changes_nothing(sound, name, seed):
    series, files = sound
    for file, content in files.items():
        (series.folder / file).write_bytes(content)
    (series.folder / name).write_bytes(damaged(files[name], random.Random(seed)))
    before = {path.name: path.read_bytes() for path in series.folder.iterdir()}
    log, problems = check_log(series)
    assert (log is None) == bool(problems)
    said = list(problems)
    for read in (read_log, read_plan, history):
        try:
            read(series)
        except ProblemsFound as found:
            said += found.problems
    assert all("\n" not in str(problem) for problem in said)
    assert {path.name: path.read_bytes() for path in series.folder.iterdir()} == before
    try:
        settle(series)
    except ProblemsFound:
        assert {path.name: path.read_bytes() for path in series.folder.iterdir()} == before
