"""The template workbook: one module per sheet, styles once, and the reader of filled workbooks."""
