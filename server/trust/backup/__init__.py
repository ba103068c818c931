"""Copies of the clinic as files: their manifest, the folder they lie in, copying of both databases, and which old ones go."""
