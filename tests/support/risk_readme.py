"""The table of proven risks as it stands in README, between its marks."""

from service.pages import risk_wording
from service.pages.proven_risks import ProvenRisks, error_text, exact_text, share_text

BEGIN, END = "<!-- proven risks: begin -->", "<!-- proven risks: end -->"


def table_of(risks: ProvenRisks) -> str:
    """Text between the marks."""
    heads = ["Plan", "exact", "simulated", *(head for head, _ in risk_wording.STRESSES.values())]
    lines = [_line(heads), "|" + "---|" * len(heads)]
    for risk in risks.plans:
        cells = [
            risk_wording.PLANS[risk.name],
            exact_text(risk),
            f"{share_text(risk, 'AS_ASSUMED', risks.lots)} ± "
            f"{error_text(risk, 'AS_ASSUMED', risks.lots)}",
        ]
        for name, (_, with_rule) in risk_wording.STRESSES.items():
            cell = share_text(risk, name, risks.lots)
            if with_rule is not None:
                cell += f" → {share_text(risk, with_rule, risks.lots)}"
            cells.append(cell)
        lines.append(_line(cells))
    notes = [f"- {note}" for note in risk_wording.NOTES]
    lots = f"{risks.lots:,} lots per cell, seed {risks.seed}."
    about = f"{risk_wording.SET_UP} {lots}"
    return "\n".join(["", about, "", *lines, "", *notes, ""])


def with_table(readme: str, risks: ProvenRisks) -> str:
    """README with the table between its marks."""
    before, _, rest = readme.partition(BEGIN)
    _, mark, after = rest.partition(END)
    assert mark, "README lacks the marks of the table"
    return f"{before}{BEGIN}\n{table_of(risks)}\n{END}{after}"


def _line(cells: list[str]) -> str:
    return "| " + " | ".join(cells) + " |"
