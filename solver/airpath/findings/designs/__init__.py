"""Boxes side by side: covered, ranked, scaled."""
