"""Acts: the small machines a session is played from. Each has one idea and one phase."""
