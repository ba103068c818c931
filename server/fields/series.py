"""What is written down of a saved series: its name and what its authors declare, which can be corrected, and what a version changed."""

from server.fields.field import Field, Kind

SERIES: tuple[Field, ...] = (
    Field("name", "Name", Kind.TEXT, "series", longest=80, required=True, stays="no row of a file is about a series"),
    Field(
        "interests", "Financial interests", Kind.LINES, "series", longest=1000, stays="it stands in the methods text"
    ),
)
NOTE = Field("note", "What changed", Kind.TEXT, "series", longest=200, stays="a text that may name a person")
