"""From arrays to findings: the tones, the ports, the cautions, in words that hold for the case."""
