"""From a line to a clip: what is said and how it sounds."""
