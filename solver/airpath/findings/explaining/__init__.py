"""Peaks, dips and ripples of an impedance, and why they are there."""
