import stat
from pathlib import Path

import pytest
from django.core.exceptions import ImproperlyConfigured

from academy.environment import flag, kept_secret, paths, secret_key, words


@pytest.mark.parametrize("text", ["1", "true", "Yes", " on "])
def test_a_flag_is_on(monkeypatch, text):
    monkeypatch.setenv("MAKEPOINT_EXAMPLE", text)
    assert flag("MAKEPOINT_EXAMPLE", default=False) is True


@pytest.mark.parametrize("text", ["0", "false", "No", "off"])
def test_a_flag_is_off(monkeypatch, text):
    monkeypatch.setenv("MAKEPOINT_EXAMPLE", text)
    assert flag("MAKEPOINT_EXAMPLE", default=True) is False


@pytest.mark.parametrize("default", [True, False])
def test_a_blank_flag_keeps_its_default(monkeypatch, default):
    monkeypatch.setenv("MAKEPOINT_EXAMPLE", "")
    assert flag("MAKEPOINT_EXAMPLE", default=default) is default


def test_any_other_word_is_refused_by_name(monkeypatch):
    monkeypatch.setenv("MAKEPOINT_EXAMPLE", "perhaps")
    with pytest.raises(ImproperlyConfigured, match="MAKEPOINT_EXAMPLE must be 1 or 0, not “perhaps”"):
        flag("MAKEPOINT_EXAMPLE", default=False)


def test_words_come_without_blanks(monkeypatch):
    monkeypatch.setenv("MAKEPOINT_EXAMPLE", "one, two,,")
    assert words("MAKEPOINT_EXAMPLE", default=("three",)) == ["one", "two"]
    monkeypatch.delenv("MAKEPOINT_EXAMPLE")
    assert words("MAKEPOINT_EXAMPLE", default=("three",)) == ["three"]


def test_a_key_is_made_once_and_for_its_owner_alone(monkeypatch, tmp_path):
    monkeypatch.delenv("MAKEPOINT_SECRET_KEY", raising=False)
    path = tmp_path / "secret-key"
    first = secret_key(path=path)
    assert len(first) >= 50
    assert secret_key(path=path) == first
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert list(tmp_path.iterdir()) == [path]


def test_a_given_key_wins_and_leaves_no_file(monkeypatch, tmp_path):
    monkeypatch.setenv("MAKEPOINT_SECRET_KEY", "given")
    assert secret_key(path=tmp_path / "secret-key") == "given"
    assert list(tmp_path.iterdir()) == []


def test_files_are_given_together_or_not_at_all(monkeypatch, tmp_path):
    names = ("MAKEPOINT_ONE", "MAKEPOINT_OTHER")
    own = tmp_path / "own"
    assert paths(*names, default=own) == (own, own)
    monkeypatch.setenv("MAKEPOINT_ONE", "/one")
    with pytest.raises(ImproperlyConfigured, match="MAKEPOINT_ONE and MAKEPOINT_OTHER are given together"):
        paths(*names, default=own)
    monkeypatch.setenv("MAKEPOINT_OTHER", "/other")
    assert paths(*names, default=own) == (Path("/one"), Path("/other"))


def test_a_secret_of_any_kind_is_made_once_and_for_its_owner_alone(tmp_path):
    path, made = tmp_path / "secret", []

    def make() -> str:
        made.append("made")
        return "line one\nline two"

    assert kept_secret(path=path, make=make) == kept_secret(path=path, make=make) == "line one\nline two"
    assert made == ["made"]
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
