"""The room's clock and the cue calendar."""
