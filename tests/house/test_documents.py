"""README and DEVELOPERS.md say what the code does, and .ci/run does what README says."""

import enum
import importlib
import pkgutil
import re
from collections.abc import Iterator
from typing import Any, get_args

import msgspec
import pytest
from product_source import ROOT

import schemas

README = ROOT / "README.md"
DEVELOPERS = ROOT / "DEVELOPERS.md"
CODE_LISTS = re.compile(r"code|reason|verdict|ending|hold|mark|refus", re.IGNORECASE)
CODE = re.compile(r"[A-Z][A-Z0-9]*(_[A-Z0-9]+)*")


@pytest.fixture(scope="module")
def documents() -> str:
    """Both documents as one text."""
    return README.read_text("utf-8") + DEVELOPERS.read_text("utf-8")


def test_readme_gives_one_command_to_run_and_one_to_test() -> None:
    run, test = set_up_commands()
    assert run.startswith("python3 -m venv .venv && .venv/bin/pip install ")
    assert run.endswith("lotproof demo")
    assert test.startswith("python3 -m venv .venv && .venv/bin/pip install ")
    assert test.endswith("-m pytest -q -n 2 --dist loadfile")


def test_the_pipeline_runs_readmes_test_command_as_it_stands() -> None:
    _, test = set_up_commands()
    lines = (ROOT / ".ci" / "run").read_text("utf-8").splitlines()
    assert test in [line.strip() for line in lines]


def test_the_first_paragraph_of_readme_says_the_job() -> None:
    first = README.read_text("utf-8").split("\n\n")[1].lower()
    for word in ("rig", "lot", "accept", "reject", "continue", "hold"):
        assert word in first


def test_readme_holds_the_safety_text_and_what_lotproof_is_not() -> None:
    text = README.read_text("utf-8").lower()
    for word in (
        "surgical emergency", "never search for a leak by hand", "lock out", "do not work alone",
        "never ship or refit", "statistical statement", "licensed", "proof-pressure test",
    ):  # fmt: skip
        assert word in re.sub(r"\s+", " ", text), word


def test_every_setting_is_documented(documents: str) -> None:
    settings = importlib.import_module("service.settings")
    fields = [field.name for field in msgspec.structs.fields(settings.Settings)]
    assert [name for name in fields if f"`LOTPROOF_{name.upper()}`" not in documents] == []


def test_every_problem_type_is_documented(documents: str) -> None:
    problems = importlib.import_module("schemas.problems")
    assert [slug for slug in problems.PROBLEM_TYPES if f"`{slug}`" not in documents] == []


def test_every_code_of_an_answer_is_documented(documents: str) -> None:
    codes = sorted(set(codes_in_schemas()))
    assert codes != []
    assert [code for code in codes if f"`{code}`" not in documents] == []


def test_decisions_are_numbered_without_a_gap() -> None:
    numbers = re.findall(r"^### Decision (\d+): ", DEVELOPERS.read_text("utf-8"), re.MULTILINE)
    assert [int(number) for number in numbers] == list(range(1, len(numbers) + 1))


def test_every_path_that_the_documents_name_exists(documents: str) -> None:
    named = set(re.findall(r"`((?:service|analysis|schemas|tests|openapi)/[\w./-]+)`", documents))
    assert [name for name in sorted(named) if not (ROOT / name).exists()] == []


def set_up_commands() -> tuple[str, str]:
    """The two commands of README: the first fenced block under each of their headings."""
    blocks = re.findall(r"```(?:sh|bash)\n(.+?)\n```", README.read_text("utf-8"), re.DOTALL)
    set_up = [block for block in blocks if block.startswith("python3 -m venv")]
    assert len(set_up) == 2, "README gives two set-up commands, one to run and one to test"
    return set_up[0], set_up[1]


def codes_in_schemas() -> Iterator[str]:
    """Codes of every list, literal type or enumeration in schemas named for what answers carry."""
    for module_info in pkgutil.iter_modules(schemas.__path__, "schemas."):
        module = importlib.import_module(module_info.name)
        for name, value in vars(module).items():
            if not name.startswith("_") and CODE_LISTS.search(name):
                yield from (code for code in listed(value) if CODE.fullmatch(code))


def listed(value: Any) -> list[str]:
    """Strings of a Literal, an enumeration, a tuple, a set or a mapping's keys; else nothing."""
    if isinstance(value, type) and issubclass(value, enum.Enum):
        return [str(member.value) for member in value]
    if isinstance(value, tuple | frozenset | set | dict | list):
        return [item for item in value if isinstance(item, str)]
    return [item for item in get_args(value) if isinstance(item, str)]
