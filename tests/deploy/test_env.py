"""Settings come from SLABCAST_ variables; a mistake in one is a sentence, never a default."""

import pytest
from django.core.exceptions import ImproperlyConfigured

from deploy import env


def test_a_file_is_read_for_a_secret(frozen_environment, tmp_path):
    secret = tmp_path / "key"
    secret.write_text("s3cret\n", encoding="utf-8")

    frozen_environment(KEY_FILE=str(secret), KEY="not this")

    assert env.text("KEY") == "s3cret"


def test_a_file_that_cannot_be_read_is_an_error(frozen_environment, tmp_path):
    frozen_environment(KEY_FILE=str(tmp_path / "missing"))

    with pytest.raises(ImproperlyConfigured, match="SLABCAST_KEY_FILE cannot be read"):
        env.text("KEY")


def test_what_is_not_set_is_the_default(frozen_environment):
    frozen_environment()

    assert (env.text("A", "x"), env.flag("B", default=True), env.number("C", 7)) == ("x", True, 7)


@pytest.mark.parametrize(
    ("said", "meant"),
    [("1", True), ("Yes", True), ("on", True), ("0", False), ("NO", False), ("", False)],
)
def test_yes_and_no(frozen_environment, said, meant):
    frozen_environment(DEMO=said)

    assert env.flag("DEMO") is meant


def test_neither_yes_nor_no_is_an_error(frozen_environment):
    frozen_environment(DEMO="perhaps")

    with pytest.raises(ImproperlyConfigured, match="SLABCAST_DEMO must be yes or no"):
        env.flag("DEMO")


def test_half_a_number_is_an_error(frozen_environment):
    frozen_environment(MAIL_PORT="25a")

    with pytest.raises(ImproperlyConfigured, match="whole number"):
        env.number("MAIL_PORT", 587)


def test_a_list_drops_spaces_and_empty_words(frozen_environment):
    frozen_environment(HOSTS=" a.example.org, ,b.example.org,")

    assert env.words("HOSTS") == ["a.example.org", "b.example.org"]
