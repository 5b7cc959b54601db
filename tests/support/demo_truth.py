"""What a demo lot's truth table asks of a life that the service gives, field by field."""

from typing import Any

_TOTALS = ("logged_cycles", "counted_cycles", "not_counted_cycles", "unlogged_cycles")


def asked_of(unit: dict[str, Any]) -> dict[str, Any]:
    """What a unit's line of the truth table says of its life, sensors taken at their word."""
    return {
        "ending": unit["ending"],
        "cycles": unit.get("cycles"),
        "bracket": (unit.get("cycles_low"), unit.get("cycles_high")),
        "credited_cycles": unit["credited_cycles"],
        "up_to_ending": unit["up_to_ending"],
        "not_counted_by": unit["not_counted_by_first_reason"],
        **{key: unit[key] for key in _TOTALS},
    }


def said_of(life: dict[str, Any]) -> dict[str, Any]:
    """The same of a life that the service gave."""
    upto = life["up_to_ending"]
    return {
        "ending": life["ending"],
        "cycles": life.get("cycles"),
        "bracket": (life.get("cycles_low"), life.get("cycles_high")),
        "credited_cycles": life["credited_cycles"],
        "up_to_ending": {key: upto[key] for key in ("logged_cycles", "counted_cycles")},
        "not_counted_by": life["totals"]["not_counted_by"],
        **{key: life["totals"][key] for key in _TOTALS},
    }


def holds_of(life: dict[str, Any]) -> list[str]:
    """Names of the questions that are open about a unit."""
    return sorted({hold["name"] for hold in life["holds"]})
