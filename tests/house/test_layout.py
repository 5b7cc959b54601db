"""The tree is what DEVELOPERS.md says: closed at the top and mirrored by its tests."""

import ast
import re

import pytest
from product_source import PACKAGES, ROOT, name_of, python_files, tree_of

FOLDERS = {*PACKAGES, "tests", "openapi"}
VAGUE_NAMES = {"base", "common", "helpers", "manager", "misc", "util", "utils"}
STEPS = {
    "service/intake": 1,
    "analysis/reduction": 2,
    "analysis/statistics": 3,
    "analysis/decision": 4,
    "service/api": 5,
    "service/pages": 5,
}

WITHOUT_OWN_TEST = {
    # The entry point only calls service.cli.main, which tests/service/test_cli.py drives.
    "service/__main__.py",
    # Each turns a published case into a call: tests/published asks every case of them.
    *(name_of(path) for path in (ROOT / "service" / "validation").glob("answers_*.py")),
}
"""Modules that need no test file of their own; each with its reason.

Packages' `__init__.py` and modules that only define words (`only_words`) need none either.
"""


def test_every_folder_at_the_top_is_one_of_the_closed_list() -> None:
    # Environments and caches that tools leave behind are no folders of ours: they hold no package.
    with_python = {
        path.name
        for path in ROOT.iterdir()
        if path.is_dir() and not path.name.startswith(".") and any(path.glob("**/*.py"))
    }
    ignored = {"build", "dist", "venv"}
    assert with_python - ignored <= FOLDERS


def test_every_module_has_a_test_file_in_the_same_place() -> None:
    missing = [
        name_of(path)
        for path in python_files()
        if path.name != "__init__.py"
        and name_of(path) not in WITHOUT_OWN_TEST
        and not only_words(tree_of(path))
        and not (ROOT / "tests" / path.relative_to(ROOT).parent / f"test_{path.name}").exists()
    ]
    assert missing == []


def test_the_exceptions_name_files_that_exist() -> None:
    assert [name for name in sorted(WITHOUT_OWN_TEST) if not (ROOT / name).exists()] == []


def test_every_folder_with_python_is_a_package_that_says_what_it_is() -> None:
    folders = {path.parent for path in python_files()}
    silent = [
        name_of(folder)
        for folder in sorted(folders)
        if not (folder / "__init__.py").exists()
        or not ast.get_docstring(tree_of(folder / "__init__.py"))
    ]
    assert silent == []


@pytest.mark.parametrize(("folder", "step"), STEPS.items())
def test_a_step_of_the_flow_says_its_number_and_what_it_takes_and_gives(
    folder: str, step: int
) -> None:
    docstring = ast.get_docstring(tree_of(ROOT / folder / "__init__.py")) or ""
    first_line = docstring.partition("\n")[0]
    assert re.match(rf"Step {step} of 5: takes .+, gives .+", first_line), first_line


def test_no_folder_under_tests_is_a_package() -> None:
    # tests/analysis/__init__.py would hide the real package analysis.
    assert [name_of(path) for path in (ROOT / "tests").rglob("__init__.py")] == []


def test_no_module_has_a_name_that_fits_everything() -> None:
    vague = [
        name_of(path)
        for path in python_files()
        if VAGUE_NAMES & {path.stem, *path.relative_to(ROOT).parts}
    ]
    assert vague == []


def only_words(tree: ast.Module) -> bool:
    """True for a module of names, types and plain Structs: it holds no function and no method."""
    return not any(
        isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda)
        for node in ast.walk(tree)
    )
