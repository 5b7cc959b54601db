"""Check a built wheel: it holds every file of the three packages, and no other package.

An editable install finds SQL, templates and styles in the checkout, so only a wheel can show that
they are shipped. Use:

    python tests/house/check_wheel.py dist/lotproof-*.whl
"""

import sys
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("analysis", "schemas", "service")


def main(wheel: str) -> int:
    """Print what is missing or too much; 0 where nothing is."""
    on_disk = {
        path.relative_to(ROOT).as_posix()
        for package in PACKAGES
        for path in (ROOT / package).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    with zipfile.ZipFile(wheel) as archive:
        shipped = {name for name in archive.namelist() if ".dist-info/" not in name}
    for name in sorted(on_disk - shipped):
        print(f"not in the wheel: {name}")
    for name in sorted(shipped - on_disk):
        print(f"in the wheel only: {name}")
    print(f"{Path(wheel).name}: {len(shipped)} files")
    return int(shipped != on_disk)


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1]))
