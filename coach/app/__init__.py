"""The composition root: builds room, voice, ear and store, and runs sessions with them."""
