"""Every wording of what is wrong: one module per area, one pure function per message.

A message says where, what was given, what is allowed, what to do. `sim.errors` says of which kind an error is; here is what it
says. Numbers arrive in the unit that the message shows. Nothing of the model is needed to say a sentence, so nothing of it is
imported.

    files       any file that is read: missing, a folder, too large, not text
    values      a key and its value, in a file or behind --set; numbers with units
    trucks      a truck whose numbers do not fit each other
    settings    settings that do not fit each other or the truck
    roads       road files and constant grades
    tracks      recorded tracks that a road is made from
    comparison  trips side by side
    output      folders and files that are written
    dyno       the engine on the dyno
    faults      failures that occur, values dialled in, meters
    speedometer the measured mile
    knobs       what is done to the knobs of the controller
    hidden      the hidden fault: its session, its key, tests and answers
    browser     what comes over the network
    running     a trip that breaks off, and the command line
    studies     studies: asked, driven, kept
"""

from sim.messages._parts import MOST_LETTERS, shortened

__all__ = ("MOST_LETTERS", "shortened")
