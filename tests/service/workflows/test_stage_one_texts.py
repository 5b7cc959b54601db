"""The shipped texts of stage one and the parameters that are bound to them."""

import re
from pathlib import Path

from reduction_builders import spec

import analysis.reduction
from analysis.reduction.rules import STAGE_ONE_TEXTS, stage_one_parameters
from service.workflows.stage_one_texts import stage_one_texts

# Given by the runner of the texts and not by the specification.
OF_THE_RUNNER = {
    "with_conflicting",
    "with_details",
    "cycles_of_a_block",
    "upload_key",
    "mode_1",
    "mode_2",
    "mode_3",
    "mode_4",
}


def test_every_shipped_text_is_named_and_every_name_has_its_text() -> None:
    (folder,) = map(Path, analysis.reduction.__path__)
    assert {path.stem for path in folder.glob("*.sql")} == set(STAGE_ONE_TEXTS)
    assert set(stage_one_texts()) == set(STAGE_ONE_TEXTS)
    assert all(text.strip() for text in stage_one_texts().values())


def test_every_parameter_of_the_texts_is_given() -> None:
    named = {name for text in stage_one_texts().values() for name in re.findall(r"\$(\w+)", text)}
    assert named - OF_THE_RUNNER <= set(stage_one_parameters(spec(), 60.0))
