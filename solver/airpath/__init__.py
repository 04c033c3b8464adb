"""airpath: predicts and explains what the air in a loudspeaker box does."""

__version__ = "0.1.0"
