"""Words that must not stand in the repository, and words that mean something else elsewhere."""

import ast
import re
from pathlib import Path

from product_source import (
    PACKAGES,
    functions,
    name_of,
    python_files,
    repository_files,
    text_files,
    tree_of,
)

# Joined here, so that this file does not hold the words that it forbids.
UNFINISHED = re.compile("|".join((r"\bTO" + r"DO\b", r"\bFIX" + r"ME\b", r"\bX" + r"XX\b")))
NOT_WRITTEN = re.compile("NotImplemented" + "Error")
RULE_NUMBER = re.compile(r"\bR(?:1[0-9]|2[0-4]|[1-9])\b|\b[Rr]ulings?\s+\d")
ELSEWHERE = re.compile(
    "|".join(
        (
            r"py" + r"pi\.org",
            r"python" + r"hosted",
            r"deb\.deb" + r"ian\.org",
            r"registry\.npm" + r"js",
            r"(?<![\w.])/wo" + r"rk/",
            r"/tmp/l" + r"p\b",
            r"seed docu" + r"ment",
            r"sub" + r"agent",
        )
    ),
    re.IGNORECASE,
)
AMBIGUOUS_NAMES = {"alpha", "ci", "conf", "rel", "beta", "eta"}


def test_nothing_is_left_for_later_in_the_product() -> None:
    assert hits(UNFINISHED, text_files(*PACKAGES)) == []
    assert hits(NOT_WRITTEN, text_files(*PACKAGES)) == []


def test_no_index_host_and_no_private_path_stands_anywhere() -> None:
    assert hits(ELSEWHERE, repository_files()) == []


def test_rules_are_named_by_words_and_not_by_numbers() -> None:
    assert hits(RULE_NUMBER, text_files(*PACKAGES, "openapi")) == []


def test_no_public_name_is_a_word_that_other_libraries_use_otherwise() -> None:
    # alpha is a significance here and a Weibull scale there; beta and eta stand in docstrings.
    offenders = [
        f"{name_of(path)}:{function.lineno} {function.name}({argument.arg})"
        for path in python_files()
        for function in functions(tree_of(path))
        if not function.name.startswith("_")
        for argument in parameters(function.args)
        if argument.arg in AMBIGUOUS_NAMES
    ]
    assert offenders == []


def test_a_rule_number_is_told_from_a_reliability() -> None:
    assert RULE_NUMBER.search("see R" + "13 for decay")
    assert not RULE_NUMBER.search("R95/C90, R(100 000), R 0.95, RIG-1, r1")


def hits(pattern: re.Pattern[str], paths: list[Path]) -> list[str]:
    """Lines that match, as path:line text."""
    return [
        f"{name_of(path)}:{number} {line.strip()[:100]}"
        for path in paths
        for number, line in enumerate(path.read_text("utf-8", errors="replace").splitlines(), 1)
        if pattern.search(line)
    ]


def parameters(arguments: ast.arguments) -> list[ast.arg]:
    """All named parameters of a function."""
    return [*arguments.posonlyargs, *arguments.args, *arguments.kwonlyargs]
