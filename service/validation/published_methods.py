"""Method of a published case to the function that answers it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from service.validation import (
    answers_acceleration,
    answers_bayes,
    answers_demonstrations,
    answers_finite_lots,
    answers_fit_limits,
    answers_life_fits,
    answers_plans,
    answers_populations,
    answers_ranks,
    answers_rates,
    answers_survival,
)

Values = dict[str, Any]

_TOPICS = (
    answers_acceleration,
    answers_bayes,
    answers_demonstrations,
    answers_finite_lots,
    answers_fit_limits,
    answers_life_fits,
    answers_plans,
    answers_populations,
    answers_ranks,
    answers_rates,
    answers_survival,
)

METHODS: dict[str, Callable[[Values], Values]] = {
    name: answer for topic in _TOPICS for name, answer in topic.METHODS.items()
}
"""Every method has one answer: a test counts that no topic hides one of another."""
