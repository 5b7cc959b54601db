"""``lotproof generate``: write a demo lot of any length, with its truth table."""

from __future__ import annotations

import argparse
from pathlib import Path

from service.demo.bundle import LotBundle, write_bundle, write_large_bundle
from service.demo.files import WrittenFile
from service.demo.lots import DEMO_LOTS, lot
from service.errors import OperatorError


def run_generate(args: argparse.Namespace) -> int:
    """
    Write the lot and tell what was written.

    Parameters
    ----------
    args : argparse.Namespace
        ``lot``, ``scale``, ``out``, and ``rows`` for one single file of at
        least so many rows: the lot's units over and over.

    Returns
    -------
    int
        Exit code 0.

    Raises
    ------
    OperatorError
        If an option is refused; nothing is written then.
    """
    bundle = _written(args)
    for name in ("setup.json", "events.json", "truth.json"):
        print(bundle.folder / name)
    endings = [unit.ending for unit in bundle.plan.units]
    told = ", ".join(f"{endings.count(word)} {word}" for word in sorted(set(endings)))
    print(
        f"{bundle.plan.facts.lot_number}: {bundle.plan.row_count:,} cycles of "
        f"{len(endings)} units ({told}), seed {bundle.plan.facts.seed}, scale {bundle.plan.scale:g}"
    )
    return 0


def _written(args: argparse.Namespace) -> LotBundle:
    folder = Path(args.out)

    def said(file: WrittenFile) -> None:
        kind = "" if file.kind == "NEW" else f" ({file.kind.lower()})"
        print(f"{folder / file.name}: {file.row_count:,} rows{kind}", flush=True)

    if args.lot not in DEMO_LOTS:
        known = ", ".join(DEMO_LOTS)
        raise OperatorError(f"there is no demo lot {args.lot!r}; the lots are {known}")
    facts = lot(args.lot)
    try:
        if args.rows is None:
            return write_bundle(facts, folder, scale=args.scale, said=said)
        if args.rows < 1:
            raise OperatorError(f"--rows must be 1 or more, got {args.rows}")
        bundle = write_large_bundle(facts, folder, scale=args.scale, row_count=args.rows)
    except ValueError as refusal:
        raise OperatorError(str(refusal)) from refusal
    said(bundle.files[0])
    return bundle
