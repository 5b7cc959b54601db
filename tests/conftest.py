"""Fixtures for every test: nothing here imports the product."""

import os
import shutil
from pathlib import Path

# Before numpy is loaded: small matrices gain nothing from threads, and waiting ones cost much.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import pytest
from hypothesis import HealthCheck, settings

# The computer is shared and slow at times: a deadline would report its load, not our code.
# In CI the examples are fixed, so that a red run can be repeated; by hand they vary.
settings.register_profile("by-hand", deadline=None)
settings.register_profile(
    "ci", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("ci" if os.environ.get("CI") else "by-hand")

_BROWSERS = ("chromium", "chromium-browser", "google-chrome")


@pytest.fixture
def rng() -> np.random.Generator:
    """Random numbers with a fixed seed: every run of a test sees the same ones."""
    return np.random.default_rng(20_261_125)


@pytest.fixture(scope="session")
def repository() -> Path:
    """Top folder of the checkout."""
    return Path(__file__).resolve().parents[1]


@pytest.fixture(scope="session")
def browser() -> str:
    """Path of a headless browser; CI must have one, elsewhere the test is left out."""
    found = next((path for name in _BROWSERS if (path := shutil.which(name))), None)
    if found is None and os.environ.get("CI"):
        pytest.fail("CI has no browser: .ci/run installs one before the tests")
    if found is None:
        pytest.skip("no browser on this machine")
    return found
