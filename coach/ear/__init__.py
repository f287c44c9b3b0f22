"""From frames to heard events."""
