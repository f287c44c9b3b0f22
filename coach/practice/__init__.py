"""The core: decides what is said, listened for and kept. Pure; standard library only."""
