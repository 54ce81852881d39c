"""Verdict and remedy: tables and arrays in, the same out."""
