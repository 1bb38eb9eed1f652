"""Where formulas are computed: `excel` (xlwings), `calc` (LibreOffice), `embedded` (Python)."""
