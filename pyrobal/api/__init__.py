"""The Python door: each command as a function of the same words, and results for a notebook."""
