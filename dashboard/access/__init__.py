"""Who may use the web application: logging in, the guard at the door, headers; ``holdoff user`` and ``holdoff audit``."""
