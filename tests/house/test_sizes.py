"""Files and functions stay small enough to be read at one sitting."""

import ast

from product_source import functions, name_of, python_files, tree_of

MOST_FILE_LINES = 400
MOST_BODY_LINES = 40

LONG_FILES: set[str] = set()
"""Files that may be longer, by path; each needs its reason here."""
LONG_FUNCTIONS: set[str] = set()
"""Functions that may be longer, as path::name; each needs its reason here."""


def test_no_product_file_is_longer_than_400_lines() -> None:
    long = {
        name_of(path): count
        for path in python_files()
        if (count := len(path.read_text(encoding="utf-8").splitlines())) > MOST_FILE_LINES
    }
    assert {name: count for name, count in long.items() if name not in LONG_FILES} == {}


def test_no_function_body_is_longer_than_40_lines() -> None:
    long = {
        f"{name_of(path)}::{function.name}": lines
        for path in python_files()
        for function in functions(tree_of(path))
        if (lines := body_lines(function)) > MOST_BODY_LINES
    }
    assert {name: lines for name, lines in long.items() if name not in LONG_FUNCTIONS} == {}


def test_the_docstring_is_not_part_of_a_functions_body() -> None:
    two_statements = ast.parse(
        'def f():\n    """One.\n\n    Two.\n    """\n    a = 1\n    return a\n'
    )
    only_words = ast.parse('def f():\n    """One.\n\n    Two.\n    """\n')
    assert [body_lines(function) for function in functions(two_statements)] == [2]
    assert [body_lines(function) for function in functions(only_words)] == [0]


def body_lines(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines from the first statement after the docstring to the last one."""
    statements = function.body
    if ast.get_docstring(function) is not None:
        statements = statements[1:]
    if not statements:
        return 0
    return (statements[-1].end_lineno or statements[-1].lineno) - statements[0].lineno + 1
