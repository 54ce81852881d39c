"""Height rules, kit catalogues, measuring methods and cautions: data files and their types."""
