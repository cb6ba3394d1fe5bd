"""The demo building and the script that writes it; see README.md in this folder."""
