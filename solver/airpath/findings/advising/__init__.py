"""What to change, solved before it is said."""
