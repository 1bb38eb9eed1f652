"""The template workbook: sheets as data, and the one reader of filled workbooks."""
