"""How the comparison is made, in the terms of measurement and verification."""

from __future__ import annotations

METHOD = (
    "Whether a hold-off was really set follows from the switch-offs since: each lies between the last sample that found the light on and the first "
    "that found it off, and every sample that finds it on tells how long it may stay on at least. The said hold-off must explain them surely better "
    "(400 to 1 throughout, 20 to 1 in the later half) than the one before, and than half and twice of it as far as these can be set; otherwise it "
    "cannot be told from this log.",
    "Both periods are carried to the same presence hours and the same daylight: those of the whole log, before and after together (normalised "
    "savings in the terms of IPMVP: baseline and reporting period are both adjusted to one set of conditions).",
    "False-offs: how often one happens per hour in which somebody was there who would have minded the dark, in each period by itself, times those "
    "hours of the whole log. Wasted on-time and energy: the hold-off of each period, as the log shows it to act, applied to every absence of both "
    "periods in the daylight that there was; light for people who are there is the same under both. Where the mode changed, or daylight and lamps "
    "cannot be told apart and the target changed, each period keeps its own absences, carried over by presence hours.",
    "Option A of IPMVP (one parameter measured, the other stipulated): on-time, presence and daylight are measured, the power is that of "
    "site.toml. Option B (all parameters measured) where the power of the channel is logged. (IPMVP Core Concepts, from memory.)",
    "Intervals are of 90 % confidence: days are resampled, because what happens on one day belongs together, and the doubt about who was there is "
    "added; where movement is logged in samples, so is what these leave open of the length of each pause. Precision is stated together with "
    "confidence (IPMVP, section 4.2); whether a change exceeds twice its standard error (IPMVP, appendix B, from memory), and whether its "
    "uncertainty at 68 % confidence is below half of it (ASHRAE Guideline 14, seen second-hand), is said with each.",
    "The model behind the adjustment is held against the log day by day: bias (NMBE) within 10 % and scatter (CV(RMSE)) within 30 %, which ASHRAE "
    "Guideline 14-2014 asks of hourly models (seen second-hand; 5 % and 15 % of monthly ones).",
    "Rooms left alone are controls where enough happens in them: what changed in them by itself, per hour of presence, is taken off (difference in "
    "differences), with an interval of its own. The verdict rests on the comparison without controls.",
    "The prediction is what the log before the change foretold for the settings set, carried to the same presence hours.",
)
