"""From a source somebody else made to canonical tables, with every row accounted for."""
