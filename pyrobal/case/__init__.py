"""The only door for a user's numbers: a case file becomes ``Inputs`` in SI, or every fault in it at once."""
