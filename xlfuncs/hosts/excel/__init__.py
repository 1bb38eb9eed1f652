"""Excel through xlwings: the functions registered, their VBA written, put where Excel looks."""
