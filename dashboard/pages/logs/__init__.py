"""The way in: files, what is in them, and the analysis of them."""
