"""What counts as a problem: the comparison of sources, the SHACL shapes, and the Python that runs them."""
