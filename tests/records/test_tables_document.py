"""docs/tables.md names every heading, word and limit that the code knows, and nothing else."""

from pathlib import Path

import pytest

from xlfuncs.records import plans, tables
from xlfuncs.workbook.words import Choices

DOCUMENT = Path(__file__).parents[2] / "docs" / "tables.md"


def described(table):
    """The table of the document: its headings, their meaning, other headings of that meaning."""
    lines = ["| heading | meaning | also found as |", "|---|---|---|"]
    for column in table.columns:
        others = ", ".join(dict.fromkeys(_sorted_out(column, table)))
        lines.append(f"| `{column.name}` | {_meaning(column, table)} | {others} |")
    return "\n".join(lines)


def _meaning(column, table):
    needed = " (needed)" if column.name in table.needs else ""
    return (column.meaning or "any text") + needed


def _sorted_out(column, table):
    """Other headings; of the stages of a plan their pattern, which is told above."""
    if column in table.columns and column.name.rpartition("_")[2] in ("gravity", "volume"):
        stage = column.name.rpartition("_")[0]
        if stage in [tables.words.key(one) for one in tables.words.PLANNED]:
            return tables.PLAN_HEADINGS.get(column.name, ())
    return column.headings


def words_of(column):
    """The words of a column with other words for each."""
    return "\n".join(f"| `{word}` | {', '.join(others)} |" for word, others in column.words.items())


@pytest.mark.parametrize("table", tables.TABLES.values(), ids=tables.TABLES)
def test_each_table_stands_in_the_document(table):
    text = DOCUMENT.read_text("utf-8")
    assert described(table) in text, described(table)
    most = f"at most {plans.MOST[table.name]:,} lines"
    assert most in text.partition(f"\n## `{table.name}`")[2].partition("\n## ")[0]


def test_each_word_stands_in_the_document():
    text = DOCUMENT.read_text("utf-8")
    for table in tables.TABLES.values():
        for column in table.columns:
            if column.words:
                assert words_of(column) in text, words_of(column)


def test_the_longest_batches_are_those_of_the_longest_log():
    assert Choices(rows=plans.MOST["log"]).batches == plans.MOST["batches"]
