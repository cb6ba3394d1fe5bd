"""Did it work? Before against after, for every channel whose settings were changed on site.

periods (what was changed and when) → set_on_site, settings_seen (is it really in force?) → parts (the log on either side) → normalise (the same
presence, the same daylight) → controls (rooms left alone) → compare (figures with intervals) → verdict. replay holds the model against the log;
verify joins the steps; method says how in words; document and table show it.
"""

from tuning.verification.results import Compared, Estimate, SetCheck, Verification, Verified, cannot_tell
from tuning.verification.verify import not_really_set, verify_folder, verify_logs

__all__ = [
    "Compared",
    "Estimate",
    "SetCheck",
    "Verification",
    "Verified",
    "cannot_tell",
    "not_really_set",
    "verify_folder",
    "verify_logs",
]
