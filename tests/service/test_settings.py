"""Settings of the operator."""

from pathlib import Path

import pytest

from service.settings import SettingsError, environment_variables, read_settings


def test_without_variables_the_documented_limits_hold() -> None:
    settings = read_settings({}, data_directory=Path("data"))
    assert settings.max_body_bytes == 2 * 1024**3
    assert settings.max_upload_rows == 50_000_000
    assert settings.max_upload_columns == 64
    assert settings.max_string_length == 200
    assert settings.memory_limit == "400MB"


def test_a_variable_is_read_as_the_type_of_its_field() -> None:
    environment = {"LOTPROOF_MAX_UPLOAD_ROWS": "7", "LOTPROOF_DATA_DIRECTORY": "kept", "HOME": "/"}
    settings = read_settings(environment)
    assert settings.max_upload_rows == 7
    assert settings.data_directory == Path("kept")


def test_the_directory_of_the_command_line_wins() -> None:
    environment = {"LOTPROOF_DATA_DIRECTORY": "one"}
    assert read_settings(environment, data_directory=Path("two")).data_directory == Path("two")


def test_a_misspelt_variable_is_refused_and_the_known_ones_are_named() -> None:
    with pytest.raises(SettingsError, match=r"LOTPROOF_MAX_ROW is not a setting.*MAX_UPLOAD_ROWS"):
        read_settings({"LOTPROOF_MAX_ROW": "7"}, data_directory=Path("data"))


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("MAX_UPLOAD_ROWS", "0"),
        ("MAX_UPLOAD_ROWS", "many"),
        ("MEMORY_LIMIT", "lots"),
        ("THREAD_COUNT", "-1"),
        ("LOG_LEVEL", "LOUD"),
    ],
)
def test_a_refused_value_is_named_with_its_variable(name: str, value: str) -> None:
    with pytest.raises(SettingsError, match=f"LOTPROOF_{name}='{value}' is refused"):
        read_settings({f"LOTPROOF_{name}": value}, data_directory=Path("data"))


def test_no_data_directory_is_refused() -> None:
    with pytest.raises(SettingsError, match="--data DIR"):
        read_settings({})


def test_every_setting_says_what_it_means() -> None:
    assert all(len(meaning) > 20 for meaning in environment_variables().values())
