"""What a YAML parser complains about, said so that a technician can act on it. Knows no file and no key."""

from __future__ import annotations

# Words of the two parsers (C and Python) for the same mistake -> what to do about it. The first that is found counts.
ADVICE: tuple[tuple[str, str], ...] = (
    ("mapping values are not allowed", "a second ':' on the line, or wrong indentation; a text with ': ' needs quotes"),
    ("could not find expected ':'", "this is not 'key: value'"),
    ("did not find expected key", "the indentation does not fit the lines above"),
    ("expected <block end>", "the indentation does not fit the lines above"),
    ("did not find expected '-' indicator", "the indentation does not fit the list above"),
    ("did not find expected ',' or '}'", "a '{' is never closed, or a ',' is missing"),
    ("expected ',' or '}'", "a '{' is never closed, or a ',' is missing"),
    ("did not find expected ',' or ']'", "a '[' is never closed, or a ',' is missing"),
    ("expected ',' or ']'", "a '[' is never closed, or a ',' is missing"),
    ("maximum nesting depth", "nested far too deep"),
    ("<document start>", "the file goes on after its end; is a bracket closed twice?"),
    ("directive", "a line cannot begin with '%'"),
    ("incompatible YAML document", "a line cannot begin with '%'"),
    ("unexpected end of stream", "a quote is never closed"),
    ("did not find expected node content", "a value is missing or begins with a character that must stand in quotes"),
    ("expected the node content", "a value is missing or begins with a character that must stand in quotes"),
    ("cannot start any token", "a text cannot begin with this character; put it in quotes"),
    ("undefined alias", "a text cannot begin with '*'; put it in quotes"),
    ("unknown escape", "unknown escape after '\\'; write '\\\\' for a backslash or use single quotes"),
    ("block sequence entries are not allowed", "a '-' cannot stand here; begin the list on a line of its own"),
    ("undefined tag handle", "a text cannot begin with '!'; put it in quotes"),
    ("alphabetic or numeric character", "a text cannot begin with '*' or '&'; put it in quotes"),
)


def plain_words(error: Exception) -> str:
    """One sentence for a parser's error; the parser's own words where no better ones are known."""
    problem = str(getattr(error, "problem", None) or error)
    for found, words in ADVICE:
        if found in problem:
            return f"cannot be read as YAML: {words}"
    return f"cannot be read as YAML: {problem.splitlines()[0] if problem else 'unknown reason'}"
