"""The web application and the printed report: they draw what :mod:`tuning` found, and compute nothing new."""
