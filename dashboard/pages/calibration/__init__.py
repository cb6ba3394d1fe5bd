"""How predictions did against what happened, over all buildings."""
