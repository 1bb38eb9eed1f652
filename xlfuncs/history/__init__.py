"""Batches over the years: what each reached of its plan, and how instruments and factors moved."""
