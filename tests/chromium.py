"""Which Chromium the tests drive, cut off from every network, and on which screens."""

import shutil

CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
FLAGS = (
    "--no-sandbox",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-default-apps",
    "--disable-domain-reliability",
    "--disable-sync",
    "--no-first-run",
    "--no-pings",
    "--host-resolver-rules=MAP * ~NOTFOUND",
)
PHONE = {"viewport": {"width": 360, "height": 740}, "is_mobile": True, "has_touch": True}
DESK = {"viewport": {"width": 1400, "height": 850}}
