"""Where voice and ear meet the air."""
