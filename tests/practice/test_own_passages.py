"""Passages that teachers know and nobody prints, at several tempi: cases of our own (common practice, no source)."""

import pytest

from tests.published.test_passages import OWN, Row, planned


@pytest.mark.parametrize("row", OWN, ids=lambda row: f"{row['horn']} {row['passage']} {row['seconds']} s")
def test_passage_at_each_of_its_tempi(row: Row) -> None:
    assert "no source" in row["source"], "a row with a source belongs to tests/published"
    found = {seconds: planned(row, float(seconds)) for seconds in row["seconds"].split()}
    assert found == dict.fromkeys(found, row["expected"])
