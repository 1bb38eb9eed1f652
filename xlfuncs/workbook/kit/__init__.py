"""What sheets are made of: blocks, where they stand, how they are written, how formulas read."""
