"""What a drawn, folded path is."""
