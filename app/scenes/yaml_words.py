"""Syntax errors of the YAML parser in words that say what to change."""

from __future__ import annotations

import re

from ruamel.yaml.error import MarkedYAMLError

_COMMENT_IN_NAME = re.compile(r"[ \t]#(?=[^\s#])")
_WORDS = (
    (
        "mapping values are not allowed here",
        "a second ': ' in one value; expected one key per line, or quotes around it",
    ),
    ("could not find expected ':'", "this line has no ': '; expected a key, ': ' and a value"),
    ("found unexpected end of stream", "the text in quotes that starts here does not end; expected a closing quote"),
    ("found unexpected document separator", "the text in quotes does not end before '---'; expected a closing quote"),
    ("expected <block end>", "this line is not indented like the lines it belongs to; expected the same indentation"),
    ("expected the node content", "nothing stands here that can be read; expected a value"),
    ("found undefined alias", "an alias is not allowed; expected the value itself"),
    ("found unknown escape character", "this escape is not known inside double quotes; expected \\\\ for a backslash"),
    ("expected escape sequence of", "this escape is cut short; expected \\\\ for a backslash"),
    ("did not find expected <document start>", "the text goes on after its end; expected one mapping per file"),
    ("block sequence entries are not allowed here", "'- ' cannot stand here; expected each list entry on its own line"),
    ("sequence entries are not allowed here", "'- ' cannot stand here; expected each list entry on its own line"),
    ("mapping keys are not allowed here", "'? ' cannot stand here; expected a key, ': ' and a value"),
    ("found unknown directive", "a line that starts with % is not allowed; expected keys and values"),
)


def syntax_fault(error: MarkedYAMLError, text: str, skipped: int) -> tuple[int, str]:
    """Offset and message for a parser error. `skipped`: characters taken off before parsing."""
    problem = str(error.problem or "")
    mark = error.problem_mark or error.context_mark
    offset = min(len(text), mark.index + skipped) if mark is not None else 0
    opened = error.context_mark.index + skipped if error.context_mark is not None else offset
    if (comment := _comment_in_name(text, min(opened, offset), offset)) is not None:
        word = text[comment + 1 :].split(maxsplit=1)[0].strip(",}]")
        return comment + 1, f"'{word}' starts a comment here and ends the value; expected quotes around a text with #"
    if "\t" in problem or "'\\t'" in problem or "tab" in problem.lower().split():
        return offset, "a tab stands where the indentation or a value should be; expected blanks"
    if "flow mapping" in str(error.context):
        return offset, _unclosed(text, opened, offset, "{", "}")
    if "flow sequence" in str(error.context):
        return offset, _unclosed(text, opened, offset, "[", "]")
    if "found unexpected end of stream" in problem or "unexpected document separator" in problem:
        offset = opened
    if "cannot start any token" in problem:
        character = text[offset : offset + 1]
        return offset, f"a value cannot start with '{character}'; expected quotes around it"
    if "could not find expected ':'" in problem:
        offset = opened
        line = re.split(r"[\r\n]", text[offset : offset + 200], maxsplit=1)[0]
        if (found := re.match(r"(\w+):(\S+)", line)) is not None:
            return offset, f"no blank after the colon; expected '{found[1]}: {found[2]}'"
    for phrase, words in _WORDS:
        if phrase in problem:
            return offset, words
    return offset, f"the text cannot be understood here ({problem.strip() or 'no reason known'}); expected YAML 1.2"


def _comment_in_name(text: str, start: int, end: int) -> int | None:
    """The offset before a '#' without a blank after it, in the line of `start` up to the line of `end`."""
    line_start = max(text.rfind("\n", 0, start), text.rfind("\r", 0, start)) + 1
    line_end = text.find("\n", end)
    for found in _COMMENT_IN_NAME.finditer(text, line_start, line_end if line_end >= 0 else len(text)):
        line = text[max(text.rfind("\n", 0, found.start()), 0) : found.start()]
        if line.count('"') % 2 == 0 and line.count("'") % 2 == 0 and not re.search(r"(^|\s)#", line):
            return found.start()
    return None


def _unclosed(text: str, opened: int, offset: int, bracket: str, closing: str) -> str:
    line = len(re.findall(r"\r\n|\r|\n", text[:opened])) + 1
    found = text[offset : offset + 1].strip()
    what = f"'{found}' stands here" if found else "the line ends here"
    return f"{what}, but '{bracket}' of line {line} is still open; expected ',' or '{closing}'"
