"""The function reference, as the documentation prints it."""

from pathlib import Path

from xlfuncs import reference

REPOSITORY = Path(__file__).parents[1]


def test_the_document_is_current():
    written = (REPOSITORY / "docs" / "functions.md").read_text(encoding="utf-8")
    assert written == reference.page(), "python -m xlfuncs.reference > docs/functions.md"
