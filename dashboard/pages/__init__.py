"""One folder a page: its layout (ids only, no work) and its callbacks."""
