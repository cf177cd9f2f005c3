"""Entries that the door's gates are read from: who is qualified, testers' calibration, binding models."""

from __future__ import annotations

import sqlite3
from datetime import date

from fleet.base.entries import Entry
from fleet.events.event import LEFT_OUT, Later, OfNoPair, PersonName, TypedText
from fleet.events.rows import insert


class QualificationStated(OfNoPair, frozen=True, kw_only=True):
    """A person is qualified for something; the newest of a person and matter is in force.

    name: the person, as on the staff list
    what: release test, pass or setting
    until: the last day on which it counts
    """

    WHAT = "qualification stated"
    name: PersonName
    what: str
    until: date

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It holds until that day; what was said before stays, for the days before this entry."""
        insert(state, "qualification", self.body() | {"since": entry.stated_at_utc, "entry": entry.seq})


class TesterCalibrated(OfNoPair, frozen=True, kw_only=True):
    """A release tester was calibrated.

    device: the device, as release tests name it
    calibrated_on: the day
    until: the last day on which its tests count
    certificate: the certificate, or empty
    """

    WHAT = "tester calibrated"
    device: str
    calibrated_on: date
    until: date
    certificate: TypedText

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """Its tests of those days count."""
        insert(state, "tester", self.body() | {"entry": entry.seq})


class BindingModelStated(OfNoPair, frozen=True, kw_only=True):
    """A binding model's declared standard, or that its maker supports it no longer (or does so again).

    model: the binding model
    standard: the standard that it declares; left out where nothing is said of it
    unsupported_since: the day; null where it is supported; left out where nothing is said of it
    origin: whose sheet or list says so
    """

    WHAT = "binding model stated"
    model: str
    standard: str | Later = LEFT_OUT
    unsupported_since: date | Later | None = LEFT_OUT
    origin: TypedText

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It takes the place of what was said of that."""
        insert_or_ignore = "INSERT INTO binding_model (model, entry) VALUES (?, 0) ON CONFLICT DO NOTHING"
        state.execute(insert_or_ignore, (self.model,))
        said = self.body()
        columns = [name for name in ("standard", "unsupported_since", "origin") if name in said]
        state.execute(
            f"UPDATE binding_model SET {', '.join(f'{name} = ?' for name in columns)}, entry = ?"
            " WHERE model = ?",
            (*(said[name] for name in columns), entry.seq, self.model),
        )
