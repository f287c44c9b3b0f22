"""Making the ear's acoustic model and its word graph: data, training, export, evaluation.

Nothing here is imported by the coach and nothing here imports it; what joins them is the
folder ``coach/ear/model``, which any Vosk can read.
"""
