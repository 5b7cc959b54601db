"""Run the tests of `analysis` where the world cannot be imported.

Prove that the mathematics needs no database, no web framework, no Arrow and no service: with these
names unimportable, all its tests and docstring examples still pass. Use:

    python tests/house/run_pure.py [pytest options]
"""

import sys
from collections.abc import Sequence
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec
from pathlib import Path
from types import ModuleType

import pytest

BLOCKED = {"duckdb", "granian", "httpx", "jinja2", "litestar", "pyarrow", "service", "uvicorn"}
ROOT = Path(__file__).resolve().parents[2]


class WorldIsAway(MetaPathFinder):
    """Answer every import of a blocked name as if nothing of that name were installed."""

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        """Refuse blocked names and leave all others to the finders after this one."""
        if fullname.partition(".")[0] in BLOCKED:
            raise ModuleNotFoundError(f"{fullname} is out of reach in this run", name=fullname)
        return None


def main() -> int:
    """Run the tests of `analysis`, then the examples in its docstrings."""
    sys.meta_path.insert(0, WorldIsAway())
    options = ["-p", "no:cacheprovider", "--rootdir", str(ROOT), *sys.argv[1:]]
    tests = [str(ROOT / "tests" / "analysis"), str(ROOT / "tests" / "house" / "test_doctests.py")]
    code = pytest.main([*options, *tests, "-k", "analysis or not test_doctests"])
    loaded = BLOCKED & sys.modules.keys()
    if loaded:
        print(f"loaded all the same: {', '.join(sorted(loaded))}")
    return int(code) or int(bool(loaded))


if __name__ == "__main__":
    raise SystemExit(main())
