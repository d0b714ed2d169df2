"""The local app: the job in a browser, for a person who does not use a terminal.

It is thin: every page reads the season, every change is an operation of `upkeep`, and nothing on a page is
out of reach of the command line. The rooms: `guard` (who may talk to it), `desk` (the property that lies
open), `long_work` (what runs beside the pages), `pages` (what is asked and answered), `forms`, then one room
for each page, `things` (changing anything), `bring` (taking files in), `drawing` (boundaries), and `server`,
which alone knows the web libraries.
"""

from loamwright.app.server import serve

__all__ = ["serve"]
