"""What the import contracts in pyproject.toml cannot see: parts of libraries, clocks and chance."""

import ast
from pathlib import Path

from product_source import name_of, python_files, tree_of

SCIPY_PARTS = ("scipy.special", "scipy.optimize")
CLOCK_CALLS = {"now", "utcnow", "today", "fromtimestamp"}
MAY_FORMAT: set[str] = {
    # The folders of the fence: a setting takes no bound parameter, and they are the operator's.
    "service/storage/store.py",
    # Which tables hold facts is asked of the database; their names are the migrations' own.
    "service/storage/audit_chain.py",
    # Which columns an uploaded file has, and in which unit, decides the statement: names of
    # our own vocabulary and constants of ours stand in it, never anything that was sent.
    "service/storage/arrivals_checks.py",
    "service/storage/arrivals_cycles.py",
    "service/storage/arrivals_file.py",
    "service/storage/arrivals_keys.py",
    "service/storage/arrivals_lives.py",
    "service/storage/arrivals_repeats.py",
    "service/storage/arrivals_routes.py",
    "service/storage/arrivals_units.py",
}
"""Files whose statements need an identifier or a setting that cannot be bound; reasons here."""
GLOBAL_CHANCE = {"seed", "rand", "randn", "randint", "random", "normal", "uniform", "choice"}


def test_the_product_uses_scipys_special_functions_and_root_finders_only() -> None:
    # scipy.stats alone costs about a second at start-up and is slower at every call.
    offenders = [
        f"{name_of(path)} imports {name}"
        for path in python_files()
        for name in imported_names(tree_of(path))
        if name.partition(".")[0] == "scipy" and not name.startswith(SCIPY_PARTS)
    ]
    assert offenders == []


def test_the_mathematics_reads_no_clock() -> None:
    assert calls_in_analysis(CLOCK_CALLS) == []


def test_the_mathematics_prints_and_opens_nothing() -> None:
    assert calls_in_analysis({"print", "open", "input", "exec", "eval"}) == []


def test_chance_is_handed_to_the_mathematics_as_a_generator() -> None:
    offenders = [
        f"{name_of(path)}:{node.lineno} {ast.unparse(node)}"
        for path in python_files("analysis")
        for node in ast.walk(tree_of(path))
        if isinstance(node, ast.Attribute)
        and node.attr in GLOBAL_CHANCE | {"default_rng"}
        and ast.unparse(node.value) in {"np.random", "numpy.random"}
    ]
    assert offenders == []


def test_no_package_imports_by_a_star_or_a_relative_path() -> None:
    offenders = [
        f"{name_of(path)}:{node.lineno}"
        for path in python_files()
        for node in ast.walk(tree_of(path))
        if isinstance(node, ast.ImportFrom)
        and (node.level > 0 or any(alias.name == "*" for alias in node.names))
    ]
    assert offenders == []


def test_no_value_is_written_into_a_statement() -> None:
    # A value reaches a statement as a bound parameter only.
    found = [hit for path in python_files("service") for hit in formatted_statements(path)]
    assert [hit for hit in found if hit.partition(":")[0] not in MAY_FORMAT] == []


def test_both_spellings_of_an_import_are_seen() -> None:
    tree = ast.parse("from scipy import stats, special\nimport scipy.stats\nfrom a.b import c")
    assert imported_names(tree) == ["scipy.stats", "scipy.special", "scipy.stats", "a.b.c"]


def calls_in_analysis(names: set[str]) -> list[str]:
    """Calls of functions or methods with one of these names."""
    return [
        f"{name_of(path)}:{node.lineno} {ast.unparse(node.func)}"
        for path in python_files("analysis")
        for node in ast.walk(tree_of(path))
        if isinstance(node, ast.Call) and called_name(node) in names
    ]


def called_name(call: ast.Call) -> str:
    """Last part of the called name."""
    if isinstance(call.func, ast.Attribute):
        return call.func.attr
    return call.func.id if isinstance(call.func, ast.Name) else ""


def imported_names(tree: ast.Module) -> list[str]:
    """Full names of everything a file imports, in functions too."""
    names: list[str] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            names += [f"{node.module}.{alias.name}" for alias in node.names]
    return names


def formatted_statements(path: Path) -> list[str]:
    """Calls of execute whose first argument is an f-string, a format or a sum with a value."""
    return [
        f"{name_of(path)}:{node.lineno}"
        for node in ast.walk(tree_of(path))
        if isinstance(node, ast.Call)
        and called_name(node) in {"execute", "executemany", "sql"}
        and node.args
        and isinstance(node.args[0], ast.JoinedStr | ast.BinOp)
    ]
