"""Work in threads: what it gives, and what a wait that is too long gives."""

import threading
import time

import pytest

from service.workflows.computing import Workers

pytestmark = pytest.mark.anyio


async def test_a_computation_runs_in_another_thread_and_gives_its_answer() -> None:
    assert await Workers().run(threading.get_ident) != threading.get_ident()


async def test_an_error_of_a_computation_comes_out() -> None:
    def fail() -> None:
        raise ValueError("no")

    with pytest.raises(ValueError, match="no"):
        await Workers().run(fail)
    with pytest.raises(ValueError, match="no"):
        await Workers().run_alone(fail, seconds=5.0)


async def test_nobody_waits_longer_than_was_said() -> None:
    workers = Workers()
    may_end = threading.Event()
    started = time.monotonic()
    assert await workers.run_alone(may_end.wait, seconds=0.05) is None
    assert time.monotonic() - started < 2.0
    # The first one still runs, so the next waits for it, also no longer than it says.
    assert await workers.run_alone(lambda: 7, seconds=0.05) is None
    may_end.set()
    assert await workers.run_alone(lambda: 7, seconds=5.0) == 7
