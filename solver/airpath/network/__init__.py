"""The box as a graph of elements: built from a case, solved for all frequencies at once."""
