"""The house rules, read from the import statements: down the table of rooms only, heavy things in theirs."""

import ast
from pathlib import Path

import pytest

import meltdoe

PACKAGE = Path(meltdoe.__file__).parent
# from the ground up; a room may import itself and any room before it
FLOORS = [
    {"errors", "units", "wording", "shipped", "explain"},
    {"series"},
    {"glass"},
    {"costs"},
    {"charge"},
    {"plans"},
    {"sheets"},
    {"log"},
    {"fit"},
    {"next_melt"},
    {"rehearsal"},
    {"files"},
    {"report"},
    {"steps", "tour"},
    {"cli", "__main__"},
]
# within the fit: the model knows no draws, the stages no checks
FIT_FLOORS = [{"model", "classical"}, {"draws"}, {"stages"}, {"checks"}, {"learning"}]
FLOOR_OF = {room: floor for floor, rooms in enumerate(FLOORS) for room in rooms}
ONLY_IN = {
    "matplotlib": {"report"},
    "jinja2": {"report", "sheets"},
    "docx": {"report"},
    "typer": {"cli"},
    "rich": {"cli"},
    "tomlkit": {"files"},
    "filelock": {"files"},
    "xlsxwriter": {"files"},
    "python_calamine": {"files"},
}
NUMERICAL = {"charge", "plans", "fit", "glass", "next_melt"}


def imports(path):
    """Every imported module of a file with whether it is imported for types only."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for_types = {
        id(node)
        for guard in ast.walk(tree)
        if isinstance(guard, ast.If) and isinstance(guard.test, ast.Name) and guard.test.id == "TYPE_CHECKING"
        for node in ast.walk(guard)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for name in node.names:
                yield name.name, id(node) in for_types
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module, id(node) in for_types


MODULES = sorted(PACKAGE.rglob("*.py"))


def room(path):
    first = path.relative_to(PACKAGE).parts[0]
    return first.removesuffix(".py")


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_go_down_the_table(path):
    if room(path) == "__init__":
        return
    for module, for_types in imports(path):
        parts = module.split(".")
        if parts[0] != "meltdoe" or len(parts) == 1 or for_types:
            continue
        assert FLOOR_OF[parts[1]] <= FLOOR_OF[room(path)], f"{module} stands above {path.name}"


def test_no_module_comes_back_to_itself_through_its_imports():
    """Of all imports, those inside functions and for types too; the package's own page of names stands outside."""
    names = {".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts): path for path in MODULES}
    names = {name.removesuffix(".__init__"): path for name, path in names.items()}
    below = {}
    for name, path in names.items():
        asked = set()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module in names:
                whole = {f"{node.module}.{part.name}" for part in node.names}
                asked |= (whole & names.keys()) or {node.module}
        below[name] = asked - {name, "meltdoe"}
    while free := {name for name, asked in below.items() if not asked and name != "meltdoe"}:
        below = {name: asked - free for name, asked in below.items() if name not in free}
    assert set(below) <= {"meltdoe"}, "these import one another in a circle"


def test_the_fit_imports_down_its_own_table():
    floor_of = {room: floor for floor, rooms in enumerate(FIT_FLOORS) for room in rooms}
    for path in MODULES:
        parts = path.relative_to(PACKAGE).with_suffix("").parts
        if parts[0] != "fit" or parts[1] == "__init__":
            continue
        for module, for_types in imports(path):
            if module.startswith("meltdoe.fit.") and not for_types:
                assert floor_of[module.split(".")[2]] <= floor_of[parts[1]], f"{module} stands above {path.name}"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_heavy_libraries_keep_to_their_rooms(path):
    for module, for_types in imports(path):
        library = module.split(".")[0]
        if library in ONLY_IN and not for_types:
            assert room(path) in ONLY_IN[library], f"{library} belongs in {ONLY_IN[library]}"


@pytest.mark.parametrize(
    "path", [p for p in MODULES if room(p) in NUMERICAL], ids=lambda p: str(p.relative_to(PACKAGE))
)
def test_the_numerical_rooms_know_no_tables_and_print_nothing(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    called = {n.func.id for n in ast.walk(tree) if isinstance(n, ast.Call) and isinstance(n.func, ast.Name)}
    assert not called & {"print", "input", "open", "eval", "exec"}
    # a result may hand itself over as a data frame: pandas stands inside such a function, never at the top
    top = {
        name
        for node in tree.body
        if isinstance(node, (ast.Import, ast.ImportFrom))
        for name in ([a.name for a in node.names] if isinstance(node, ast.Import) else [node.module or ""])
    }
    assert not any(name.split(".")[0] in {"pandas", "matplotlib", "statsmodels"} for name in top)


def test_nothing_is_ever_run_as_code():
    for path in MODULES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                assert node.func.id not in {"eval", "exec", "compile", "__import__"}, path


def test_modules_stay_small_enough_to_hold_in_mind():
    long = {
        str(p.relative_to(PACKAGE)): n for p in MODULES if (n := len(p.read_text(encoding="utf-8").splitlines())) > 350
    }
    assert not long
