"""What the sources say: the vocabulary, the claims, and the Python that loads, writes and reads them."""
