"""What starting the service must not load: seconds and hundreds of megabytes."""

import subprocess
import sys

import pytest
from product_source import ROOT

HEAVY = ("reliability", "statsmodels", "matplotlib", "pandas", "scipy.stats")


@pytest.mark.parametrize("name", ["service", "service.cli", "service.app"])
def test_importing_the_service_loads_no_heavy_library(name: str) -> None:
    # A process of its own: here other tests have loaded them as referees.
    program = (
        f"import sys, {name}\nprint(*[heavy for heavy in {HEAVY!r} if heavy in sys.modules])\n"
    )
    finished = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert finished.returncode == 0, finished.stderr
    assert finished.stdout.strip() == ""
