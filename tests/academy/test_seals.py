import pytest

from academy.seals import new_salt, sealed


def test_the_same_text_and_salt_give_the_same_seal():
    salt = new_salt()
    assert sealed("Bench 4", salt) == sealed("Bench 4", salt)


def test_another_salt_gives_another_seal():
    assert sealed("Bench 4", new_salt()) != sealed("Bench 4", new_salt())


def test_nothing_is_sealed_without_a_salt():
    with pytest.raises(ValueError, match="salt"):
        sealed("Bench 4", "")
