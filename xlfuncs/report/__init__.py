"""What a filled workbook says: as plain data, and as text for a terminal."""
