"""A second simulator of rooms under a ceiling presence detector, with their long-run truth.

Written apart, from a description of the method alone: it shares neither code nor distributions with ``tuning`` or with ``tests.simulation``, so that
estimates tuned on the one are judged by the other. All ranges, shares and times in it are chosen by us; none is measured.

Seconds count from the local midnight at which a log, or the weeks of its truth, begin.
"""
