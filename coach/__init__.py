"""An offline voice coach for dry breath-hold practice."""

__version__ = "0.1.0"
