"""Every ruling is held by a test that exists."""

from functools import cache

from product_source import ROOT, tree_of
from rulings import RULINGS


def test_every_ruling_is_listed() -> None:
    assert [*RULINGS] == [*map(str, range(1, 20)), "19b", *map(str, range(20, 46))]


def test_every_ruling_names_tests_that_exist() -> None:
    named = {test for ruling in RULINGS.values() for test in ruling.tests}
    missing = [test for test in sorted(named) if not _exists(test)]
    assert missing == []


def test_every_ruling_is_said_in_words_and_held_by_a_test() -> None:
    assert [number for number, ruling in RULINGS.items() if not ruling.tests] == []
    assert [number for number, ruling in RULINGS.items() if not ruling.says.endswith(".")] == []
    assert len({ruling.says for ruling in RULINGS.values()}) == len(RULINGS)


def _exists(test: str) -> bool:
    path, _, name = test.partition("::")
    return (ROOT / path).is_file() and name in _functions(path)


@cache
def _functions(path: str) -> frozenset[str]:
    return frozenset(
        node.name for node in tree_of(ROOT / path).body if hasattr(node, "name") and node.name
    )
