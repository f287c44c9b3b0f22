"""An offline voice coach for dry breath-hold practice."""
