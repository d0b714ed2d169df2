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
#: Positions by hand: `fix(latitude, longitude, accuracy)` and `lose(code)` of the window.
STAND_IN = """() => { let tell; let fail;
  navigator.geolocation.watchPosition = (take, lose) => { tell = take; fail = lose; return 1; };
  navigator.geolocation.clearWatch = () => { tell = null; };
  window.fix = (latitude, longitude, accuracy) => tell({ coords: { latitude, longitude, accuracy } });
  window.lose = (code) => fail({ code, message: "lost" }); }"""
