"""Manuscripts: an author's own text, filled from the rules, and held against them later."""
