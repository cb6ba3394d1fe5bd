"""Parts that pages are put together from. They take results and return elements; no callback, no state."""
