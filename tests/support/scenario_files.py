"""Raw-row scenarios with known lives: their files, told in the service's own words.

The scenarios were made from rows whose truth is known and confirmed by a slow
row-by-row reduction written apart from this project. A few names inside their
specifications differ from the service's; `told` maps them and nothing else.
"""

import json
from pathlib import Path
from typing import Any

ROWS = Path(__file__).parent.parent / "flow" / "rows"

_SEEN_AS = {
    "SEAL_DECAY": "DECAY",
    "BURST": "BURST",
    "CANNOT_BUILD": "CANNOT_BUILD",
    "EXTERNAL_LEAK": "LEAK",
    "FUNCTION_LOST": "FUNCTION",
}


class Scenario:
    """One scenario folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.setup = _read(folder / "setup.json")
        self.expected = _read(folder / "expected.json")
        self.events = _read(folder / "events.json") if (folder / "events.json").exists() else {}

    @property
    def name(self) -> str:
        return self.folder.name

    def specs(self) -> list[dict[str, Any]]:
        """Specifications in the service's words."""
        return [told(spec) for spec in self.setup["specs"]]

    def rigs(self) -> dict[str, dict[str, Any]]:
        """Settings of each rig; its own supply feeds every station unless it says otherwise."""
        settings = {}
        for rig_id, rig in self.setup["rigs"].items():
            settings[rig_id] = {
                "stop_codes": rig["stop_codes"],
                "time_zone": rig["time_zone"],
                "sensors": rig["sensors"],
            }
            if rig["supplies"] != "the rig":
                settings[rig_id]["supplies"] = rig["supplies"]
        return settings

    def upload(self, name: str) -> bytes:
        """Bytes of one of the scenario's uploads."""
        return (self.folder / "uploads" / name).read_bytes()


def scenarios() -> list[Scenario]:
    """Every scenario in the tests' folder, by name."""
    return [Scenario(folder) for folder in sorted(ROWS.iterdir()) if folder.is_dir()]


def told(spec: dict[str, Any]) -> dict[str, Any]:
    """A scenario's specification in the service's words."""
    told_spec = json.loads(json.dumps(spec))
    failure = told_spec["failure"]
    failure["burst_below_mpa"] = failure.pop("burst_peak_below_mpa")
    for mode in failure["modes"]:
        mode["seen_as"] = _SEEN_AS[mode["name"]]
    cannot_build = told_spec["reduction"]["cannot_build"]
    cannot_build["pressure_supply_min_mpa"] = cannot_build.pop("supply_min_mpa")
    return told_spec


def _read(path: Path) -> Any:
    return json.loads(path.read_text("utf-8"))
