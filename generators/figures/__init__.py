"""Figures drawn to scale from the rules: SVG whose lengths are those of the values, in millimetres times a scale."""
