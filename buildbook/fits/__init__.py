"""Clearances, forms, compression and motion: numbers in, numbers out."""
