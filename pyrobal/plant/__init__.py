"""The steps of the plant, one file each: Settings, Result and solve(). Steps never import each other."""
