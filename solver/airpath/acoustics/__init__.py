"""Formulas of acoustics as plain functions of arrays: ducts, radiation, ends, porous fill, drivers, hearing."""
