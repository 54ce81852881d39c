"""Next season's work by area: tables in, tables out."""
