"""Every example in a docstring runs and gives what it says."""

import doctest
import importlib
from pathlib import Path

import pytest
from product_source import module_of, python_files

WITH_EXAMPLES = [path for path in python_files() if ">>>" in path.read_text(encoding="utf-8")]


@pytest.mark.parametrize("path", WITH_EXAMPLES, ids=module_of)
def test_the_examples_of_a_module_give_what_they_say(path: Path) -> None:
    module = importlib.import_module(module_of(path))
    outcome = doctest.testmod(module, optionflags=doctest.NORMALIZE_WHITESPACE)
    assert outcome.attempted > 0
    assert outcome.failed == 0, "the differences stand in the captured output"


@pytest.mark.parametrize("folder", ["analysis", "schemas"])
def test_a_folder_of_numbers_has_examples(folder: str) -> None:
    assert [path for path in WITH_EXAMPLES if module_of(path).startswith(folder)] != []
