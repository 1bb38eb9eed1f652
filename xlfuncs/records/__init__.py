"""Records that live on: logs kept elsewhere come into a workbook."""
