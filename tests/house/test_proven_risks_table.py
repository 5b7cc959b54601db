"""README's table of proven risks is the one that stands in the package's data."""

from product_source import ROOT
from risk_readme import with_table

from service.pages.proven_risks import proven_risks


def test_readme_shows_the_table_of_the_package() -> None:
    readme = (ROOT / "README.md").read_text("utf-8")
    assert with_table(readme, proven_risks()) == readme
