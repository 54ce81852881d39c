"""Grade at a hydrant, outlet height and its uncertainty: tables and arrays in, the same out."""
