"""``lotproof demo``: invented lots through the real service, and the verdicts it gives."""

from __future__ import annotations

import argparse
import contextlib
import os
import signal
import sys
import tempfile
import threading
from collections.abc import Iterator, Sequence
from pathlib import Path
from types import FrameType

from service.app import build_app, issue_sign_in_code
from service.data_lock import hold_data_directory
from service.demo.bundle import LotBundle, calibrations_of, events_of, setup_of, write_bundle
from service.demo.client import DemoClient, EvaluationSeen
from service.demo.lots import DEMO_LOTS, lot
from service.demo.scenario import PART_NUMBER
from service.demo.verdict_table import LotSeen, differences, verdict_table
from service.server import bind, running
from service.settings import read_settings
from service.tokens import Actor, create_token, revoke_token

DEMO_SCALE = 0.05
_BAR_WIDTH = 30
_WHY = "demo of an invented product, scale 1/20"
_SAFETY = (
    "A verdict is a statistical statement about this lot and these conditions:\n"
    "no permission to pressurise, to ship or to go near a part under pressure."
)


def run_demo(args: argparse.Namespace) -> int:
    """
    Generate the lots, post them to a service started here, and show its verdicts.

    Parameters
    ----------
    args : argparse.Namespace
        ``data`` (folder to keep the store in, or None for a temporary one),
        ``once`` (end after the table), ``host``, ``port``.

    Returns
    -------
    int
        Exit code: 0, or 1 where a verdict differs from the truth.

    Raises
    ------
    OperatorError
        If the service cannot start or refuses something.
    """
    with tempfile.TemporaryDirectory(prefix="lotproof-demo-") as temporary:
        data = args.data if args.data is not None else Path(temporary) / "data"
        settings = read_settings(os.environ, data_directory=data)
        with hold_data_directory(data):
            app = build_app(settings, demo_sign_in=True)
            with running(app, bind(args.host, args.port)) as url:
                seen = _told(url, data, Path(temporary) / "files")
                print(verdict_table(seen))
                print(f"\nDemo, scale 1/20: an invented product. {_SAFETY}")
                if not args.once:
                    viewer = Actor(name="demo", kind="PERSON", scopes=frozenset({"lots.read"}))
                    code = issue_sign_in_code(app, viewer)
                    print(f"\nOpen {url}/sign-in?code={code}")
                    print(
                        "The link works once, within 15 minutes. Ctrl-C ends the demo.", flush=True
                    )
                    _wait_for_signal()
    return 1 if any(differences(lot_seen) for lot_seen in seen) else 0


def seen_lots(data: Path, folder: Path, numbers: Sequence[str] = DEMO_LOTS) -> list[LotSeen]:
    """
    Lots told to a service that is started for it and stopped again, and what it says of them.

    Parameters
    ----------
    data : Path
        Data directory of that service; what it was told stays in it.
    folder : Path
        Where the generated files go.
    numbers : sequence of str, optional
        Lots, in the order of their dates.
    """
    settings = read_settings(os.environ, data_directory=data)
    with (
        hold_data_directory(data),
        running(build_app(settings), bind("127.0.0.1", 0)) as url,
    ):
        return _told(url, data, folder, numbers)


def _told(url: str, data: Path, folder: Path, numbers: Sequence[str] = DEMO_LOTS) -> list[LotSeen]:
    """Everything the service is told, lot by lot; a token that nobody keeps does it."""
    token, text = create_token(data, name="demo", kind="SYSTEM", scopes=["admin"])
    try:
        with DemoClient(url, text) as client:
            client.wait_until_ready()
            told = {number: _tell_lot(client, number, folder / number) for number in numbers}
            before = _found_out(client, told)
            # Asked at the end: later rows of a rig must not change what is said of earlier lots.
            return [
                LotSeen(
                    facts=lot(number),
                    evaluation=client.evaluation(lot_id),
                    before=before.get(number),
                )
                for number, lot_id in told.items()
            ]
    finally:
        revoke_token(data, token.token_id)


def _found_out(client: DemoClient, lot_ids: dict[str, str]) -> dict[str, EvaluationSeen]:
    """Tell what was found out of sensors after the test; gives what was said of the lots before."""
    before = {}
    for number, lot_id in lot_ids.items():
        calibrations = calibrations_of(lot(number))
        if calibrations:
            before[number] = client.evaluation(lot_id)
        for calibration in calibrations:
            client.record("calibrations", calibration)
    return before


def _tell_lot(client: DemoClient, number: str, folder: Path) -> str:
    """Generate one lot and tell the service about it in a shop's order; gives the lot's id."""
    bundle = write_bundle(lot(number), folder, scale=DEMO_SCALE, said=lambda file: None)
    setup = setup_of(bundle.plan)
    for rig_id, settings in setup["rigs"].items():
        client.set_rig(rig_id, settings)
    (spec,) = setup["specs"]
    version = client.approved_spec(spec, reason=_WHY)
    lot_id = client.registered_lot(
        {
            "lot_number": number,
            "part_number": PART_NUMBER,
            "note": f"{bundle.plan.facts.title} (demo, scale 1/20)",
        }
    )
    client.list_units(lot_id, setup["lots"][0]["units"])
    client.assign(lot_id, spec_id=spec["spec_id"], version=version, reason=_WHY)
    events = events_of(bundle.plan)
    # Records first: they wait for their rows, and a lot with rows is worked out at every record.
    for event in events["rig_events"]:
        client.record("rig-events", event)
    for inspection in events["inspections"]:
        client.record("inspections", inspection)
    _send_files(client, bundle)
    return lot_id


def _send_files(client: DemoClient, bundle: LotBundle) -> None:
    sizes = [(bundle.folder / file.name).stat().st_size for file in bundle.files]
    bar = _ProgressBar(bundle.plan.facts.lot_number, sum(sizes), bundle.plan.row_count)
    for file in bundle.files:
        client.upload(bundle.folder / file.name, sent=bar.advance)
    bar.finish()


class _ProgressBar:
    """A bar on standard error where that is a terminal, one line per lot where it is not."""

    def __init__(self, name: str, byte_count: int, row_count: int) -> None:
        self._name = name
        self._byte_count = max(1, byte_count)
        self._row_count = row_count
        self._done = 0
        self._moves = sys.stderr.isatty()

    def advance(self, byte_count: int) -> None:
        """Some more bytes have gone out."""
        self._done += byte_count
        if self._moves:
            share = min(1.0, self._done / self._byte_count)
            bar = ("#" * round(share * _BAR_WIDTH)).ljust(_BAR_WIDTH, ".")
            print(f"\r{self._name} [{bar}] {share:4.0%}", end="", file=sys.stderr, flush=True)

    def finish(self) -> None:
        """All files are taken."""
        start = "\r" if self._moves else ""
        line = f"{start}{self._name}: {self._row_count:,} cycles sent"
        print(line.ljust(_BAR_WIDTH + 20), file=sys.stderr, flush=True)


def _wait_for_signal() -> None:
    """Wait until the process is told to stop."""
    told = threading.Event()
    with _signals(told):
        while not told.wait(timeout=3600):
            pass


@contextlib.contextmanager
def _signals(told: threading.Event) -> Iterator[None]:
    def stop(_: int, __: FrameType | None) -> None:
        told.set()

    before = {sig: signal.signal(sig, stop) for sig in (signal.SIGTERM, signal.SIGINT)}
    try:
        yield
    finally:
        for sig, handler in before.items():
            signal.signal(sig, handler)
