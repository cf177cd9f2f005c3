"""The objections of the judge."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Objection:
    """One broken limit or wrong figure: where, which rule, and the numbers.

    ``pair``: the pair whose set it is about, which the others do without; "" for the plan as a whole.
    """

    about: str
    rule: str
    message: str
    pair: str = ""

    def __str__(self) -> str:
        return f"{self.about}: {self.message}"
