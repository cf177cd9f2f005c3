"""The reasons of a no: the facts that block a boot on a pair, and the nearest change that unblocks it.

facts      what may block a hole at a place, one fact at a time
cells      the offsets of a pattern cut where the facts change
smallest   the smallest set of facts that together block every offset
paper      what blocks before any geometry: no fit declared, no sole length, a pair on hold
changes    what would unblock, nearest first
answer     the whole answer to `mountbook why`
what_if    another spacing, window or mount convention: who gains and who loses positions
"""
