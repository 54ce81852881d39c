"""Small sources as they come in practice, broken and awkward, and what has to become of them."""
