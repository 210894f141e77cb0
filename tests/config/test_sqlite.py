from wearlog.config import sqlite


def test_an_old_library_is_one_sentence_that_says_what_to_do() -> None:
    sentence = sqlite.too_old((3, 30, 1))
    assert "3.30.1" in sentence
    assert "newer Python" in sentence
    assert sqlite.too_old((3, 31, 0)) == ""


def test_the_reset_fault_is_told_for_the_versions_that_have_it() -> None:
    """Source: SQLite's page on write-ahead logging, the section on the reset bug (range from memory)."""
    assert sqlite.reset_fault((3, 40, 1))
    assert sqlite.reset_fault((3, 51, 2))
    for mended in ((3, 44, 6), (3, 50, 7), (3, 51, 3), (3, 6, 23)):
        assert sqlite.reset_fault(mended) == ""
