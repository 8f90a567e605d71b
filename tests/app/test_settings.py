"""Settings from the environment, and what is refused before anything starts."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from app.errors import BadInput
from app.settings import LogFormat, Settings, is_loopback, read_settings, settings_table, variable

POSTGRES = "postgresql://press:hunter2@db/runwright"


def faults(environment: dict[str, str], **said: object) -> dict[str, str]:
    """What is refused, by variable."""
    with pytest.raises(BadInput) as error:
        read_settings(environment, **said)
    return {fault.field or "": fault.right for fault in error.value.faults}


def test_without_any_variable_the_service_is_local_and_on_sqlite() -> None:
    settings = read_settings({})
    assert settings.database_url == "sqlite:///runwright.db"
    assert settings.is_sqlite
    assert is_loopback(settings.host)


def test_variables_are_read_and_other_programs_variables_are_not() -> None:
    settings = read_settings(
        {
            "RUNWRIGHT_DATABASE": POSTGRES,
            "RUNWRIGHT_PORT": "8443",
            "runwright_stop_within": "90 s",
            "RUNWRIGHT_LOG_FORMAT": "console",
            "RUNWRIGHT_LOG_REQUESTS": "no",
            "RUNWRIGHT_TRUSTED_PROXIES": "10.0.0.1, 10.1.0.0/16",
            "RUNWRIGHT_WEBHOOK_TARGETS": "mis.example.com:8443, 10.1.0.0/16",
            "PORT": "1",
        }
    )
    assert settings.port == 8443
    assert settings.stop_within == timedelta(seconds=90)
    assert settings.log_format is LogFormat.CONSOLE
    assert not settings.log_requests
    assert settings.proxies == ("10.0.0.1", "10.1.0.0/16")
    assert settings.targets.target("https://mis.example.com:8443/").port == 8443
    assert settings.targets.target("https://10.1.2.3/").host == "10.1.2.3"


def test_who_answers_works_on_requests_too_on_sqlite_alone_unless_it_is_said() -> None:
    assert read_settings({}).serving_slots == 1
    assert read_settings({"RUNWRIGHT_SLOTS": "0"}).serving_slots == 0
    assert read_settings({"RUNWRIGHT_DATABASE": POSTGRES}).serving_slots == 0
    shared = read_settings({"RUNWRIGHT_DATABASE": POSTGRES, "RUNWRIGHT_SLOTS": "2"})
    assert (shared.serving_slots, shared.working_slots) == (2, 2)
    assert read_settings({"RUNWRIGHT_DATABASE": POSTGRES}).working_slots == 1


def test_what_the_command_line_says_comes_first() -> None:
    settings = read_settings({"RUNWRIGHT_PORT": "8443"}, port=9000, host=None)
    assert (settings.port, settings.host) == (9000, "127.0.0.1")


@pytest.mark.parametrize(
    ("text", "span"),
    [
        ("500 ms", timedelta(milliseconds=500)),
        ("1.5s", timedelta(seconds=1.5)),
        (" 5 min ", timedelta(minutes=5)),
        ("1 h", timedelta(hours=1)),
    ],
)
def test_durations_have_units(text: str, span: timedelta) -> None:
    assert read_settings({"RUNWRIGHT_STOP_WITHIN": text}).stop_within == span


@pytest.mark.parametrize("text", ["30", "30 seconds", "-1 s", "", "PT30S", "2 h 5 min"])
def test_a_duration_without_a_unit_is_refused(text: str) -> None:
    assert "30 s" in faults({"RUNWRIGHT_STOP_WITHIN": text})["RUNWRIGHT_STOP_WITHIN"]


def test_every_fault_is_told_at_once() -> None:
    found = faults(
        {
            "RUNWRIGHT_PORT": "70000",
            "RUNWRIGHT_LOG_LEVEL": "loud",
            "RUNWRIGHT_DATABSE": "x",
            "RUNWRIGHT_KEYS_REMEMBERED": "5 s",
        }
    )
    assert set(found) == {
        "RUNWRIGHT_PORT",
        "RUNWRIGHT_LOG_LEVEL",
        "RUNWRIGHT_DATABSE",
        "RUNWRIGHT_KEYS_REMEMBERED",
    }
    assert found["RUNWRIGHT_DATABSE"] == "is no setting; the nearest is RUNWRIGHT_DATABASE"


@pytest.mark.parametrize(
    ("environment", "refused"),
    [
        ({"RUNWRIGHT_HOST": "0.0.0.0"}, {"RUNWRIGHT_HOST"}),
        ({"RUNWRIGHT_HOST": "press-server"}, {"RUNWRIGHT_HOST"}),
        ({"RUNWRIGHT_PROCESSES": "2"}, {"RUNWRIGHT_PROCESSES"}),
        ({"RUNWRIGHT_DATABASE_CONNECTIONS": "5"}, {"RUNWRIGHT_DATABASE_CONNECTIONS"}),
        ({"RUNWRIGHT_DATABASE_WAIT": "5 s"}, {"RUNWRIGHT_DATABASE_WAIT"}),
        (
            {"RUNWRIGHT_DATABASE": POSTGRES, "RUNWRIGHT_DATABASE_BUSY_WAIT": "5 s"},
            {"RUNWRIGHT_DATABASE_BUSY_WAIT"},
        ),
        ({"RUNWRIGHT_DATABASE": "mysql://db/x"}, {"RUNWRIGHT_DATABASE"}),
        (
            {"RUNWRIGHT_DATABASE": POSTGRES, "RUNWRIGHT_PROCESSES": "2", "RUNWRIGHT_PORT": "0"},
            {"RUNWRIGHT_PORT"},
        ),
        ({"RUNWRIGHT_TRUSTED_PROXIES": "10.0.0.1, proxy"}, {"RUNWRIGHT_TRUSTED_PROXIES"}),
        ({"RUNWRIGHT_WEBHOOK_TARGETS": "mis.example.com, https://x"}, {"RUNWRIGHT_WEBHOOK_TARGETS"}),
        ({"RUNWRIGHT_HOST": "::", "RUNWRIGHT_PROCESSES": "3"}, {"RUNWRIGHT_HOST", "RUNWRIGHT_PROCESSES"}),
    ],
)
def test_settings_that_do_not_go_together_are_refused(environment: dict[str, str], refused: set[str]) -> None:
    assert set(faults(environment)) == refused


@pytest.mark.parametrize(
    "environment",
    [
        {"RUNWRIGHT_HOST": "0.0.0.0", "RUNWRIGHT_OPEN_TO_NETWORK": "true"},
        {"RUNWRIGHT_HOST": "::1"},
        {"RUNWRIGHT_HOST": "localhost"},
        {"RUNWRIGHT_DATABASE": POSTGRES, "RUNWRIGHT_PROCESSES": "4", "RUNWRIGHT_DATABASE_WAIT": "5 s"},
        {"RUNWRIGHT_DATABASE_BUSY_WAIT": "5 s"},
    ],
)
def test_settings_that_go_together_are_taken(environment: dict[str, str]) -> None:
    read_settings(environment)


def test_a_password_is_never_shown() -> None:
    settings = read_settings({"RUNWRIGHT_DATABASE": POSTGRES})
    assert "hunter2" not in repr(settings) + str(settings) + settings.model_dump_json()
    with pytest.raises(BadInput) as error:
        read_settings({"RUNWRIGHT_DATABASE": "mysql://press:hunter2@db/x", "RUNWRIGHT_PORT": "x"})
    assert "hunter2" not in str(error.value)
    assert settings.database_url == POSTGRES


def test_every_setting_stands_in_the_guide_as_it_is() -> None:
    guide = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text()
    assert settings_table() in guide


def test_every_setting_says_what_it_is_for() -> None:
    for name, field in Settings.model_fields.items():
        assert field.description, name
        assert f"`{variable(name)}`" in settings_table()
