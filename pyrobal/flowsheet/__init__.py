"""The plant as one balance: Inputs in, Results out, the steps called in plant order."""
