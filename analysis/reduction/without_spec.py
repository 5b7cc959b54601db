"""What can be said of a lot before anybody stated what counts."""

from schemas.specs import Conditions, FailureDefinition, Plan, ReductionSettings, Spec

_ANY_PRESSURE_MPA = 1e4
NOBODY_STATED = "none"


def permissive_spec() -> Spec:
    """
    A specification that refuses nothing, for lots without one.

    Returns
    -------
    Spec
        Every test cycle with a reading counts, no failure is looked for in the
        rows, nothing is required and no unit is finished. It decides nothing: a
        lot without a specification is held.

    Examples
    --------
    >>> permissive_spec().requirement
    []
    """
    return Spec(
        spec_id=NOBODY_STATED,
        part_number=NOBODY_STATED,
        requirement=[],
        conditions=Conditions(
            pressure_lower_mpa=-_ANY_PRESSURE_MPA,
            pressure_upper_mpa=_ANY_PRESSURE_MPA,
            station_modes=["TEST"],
        ),
        failure=FailureDefinition(modes=[]),
        reduction=ReductionSettings(),
        plan=Plan(kind="ATTRIBUTE", unit_count=1, allowed_failures=0, overdue_hours=1e6),
    )
