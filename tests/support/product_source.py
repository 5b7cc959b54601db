"""The product's own source files, as the house tests read them."""

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("analysis", "schemas", "service")


def python_files(*folders: str) -> list[Path]:
    """Python files under `folders` (default: the three packages), in a fixed order."""
    return sorted(path for folder in folders or PACKAGES for path in (ROOT / folder).rglob("*.py"))


def text_files(*folders: str) -> list[Path]:
    """Every text file under `folders`: Python, SQL, templates, styles, examples."""
    return sorted(
        path
        for folder in folders
        for path in (ROOT / folder).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts and _is_text(path)
    )


def repository_files() -> list[Path]:
    """Every text file of the checkout: those at the top and those of the closed list of folders."""
    at_top = [path for path in ROOT.iterdir() if path.is_file() and _is_text(path)]
    return sorted(at_top + text_files(*PACKAGES, "tests", "openapi", ".ci"))


def _is_text(path: Path) -> bool:
    with path.open("rb") as file:
        return b"\0" not in file.read(4096)


def name_of(path: Path) -> str:
    """Path from the top folder, as it stands in messages and exception lists."""
    return path.relative_to(ROOT).as_posix()


def module_of(path: Path) -> str:
    """Import name of a product file."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


@cache
def tree_of(path: Path) -> ast.Module:
    """Syntax tree of a Python file."""
    return ast.parse(path.read_text(encoding="utf-8"), filename=name_of(path))


def functions(tree: ast.Module) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    """Every function and method of a file, nested ones too."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node
