"""The register: one GeoPackage, an append-only history and the state that follows from it."""
