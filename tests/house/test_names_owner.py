"""The general names service, analysis and schemas belong to lotproof and to nobody else."""

import importlib
import json
from importlib import metadata
from pathlib import Path

import pytest
from product_source import PACKAGES, ROOT


@pytest.fixture(scope="module")
def distribution() -> metadata.Distribution:
    """The installed lotproof; these tests say nothing about a checkout that is not installed."""
    try:
        return metadata.distribution("lotproof")
    except metadata.PackageNotFoundError:
        pytest.skip("lotproof is not installed in this environment")


@pytest.mark.parametrize("name", PACKAGES)
def test_no_other_distribution_ships_a_package_of_ours(name: str) -> None:
    owners = set(metadata.packages_distributions().get(name, []))
    assert owners <= {"lotproof"}, "another package would overwrite or hide ours"


@pytest.mark.parametrize("name", PACKAGES)
def test_an_installed_lotproof_owns_the_name(
    name: str, distribution: metadata.Distribution
) -> None:
    # An editable install records a path file only, and no package: then the path must be ours.
    if editable_from(distribution) is None:
        assert set(metadata.packages_distributions()[name]) == {"lotproof"}
    else:
        assert editable_from(distribution) == ROOT


@pytest.mark.parametrize("name", PACKAGES)
def test_the_imported_package_is_the_one_of_this_checkout(name: str) -> None:
    # A namespace package, which a missing __init__.py makes, has no file.
    package = importlib.import_module(name)
    assert package.__file__ is not None
    assert Path(package.__file__).resolve() == ROOT / name / "__init__.py"


def editable_from(distribution: metadata.Distribution) -> Path | None:
    """Folder of an editable install, None for an ordinary one."""
    text = distribution.read_text("direct_url.json")
    origin = json.loads(text) if text else {}
    if not origin.get("dir_info", {}).get("editable"):
        return None
    return Path(origin["url"].removeprefix("file://")).resolve()
