"""What leaves the house: GeoPackage, web map, pictures and lists. Nothing is decided here."""
