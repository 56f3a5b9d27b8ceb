"""The layouts of a record and its sections, both ways, free of the model (EN 1064 clause 5)."""
