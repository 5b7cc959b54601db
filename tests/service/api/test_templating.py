"""Pages of the frame."""

import pytest
from jinja2 import UndefinedError

from service.api.templating import page, static_file


def test_what_is_filled_in_is_escaped() -> None:
    answer = page("sign_in.html", message="<b>&")
    assert "&lt;b&gt;&amp;" in answer.content


def test_a_value_that_is_missing_is_a_fault_and_no_gap() -> None:
    with pytest.raises(UndefinedError):
        page("sign_in.html")


def test_the_stylesheet_comes_with_the_package() -> None:
    assert b"prefers-color-scheme: dark" in static_file("docs.css")
