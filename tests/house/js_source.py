"""The functions of a JavaScript module: what cpp_source.py does for C++, counted the same way,
with ?? beside && and ||. An arrow function is a lambda, with braces or without.
"""

import bisect
import re

from cpp_source import Function

TOKEN = re.compile(
    r"""(?P<skip>\s+|//[^\n]*|/\*[\s\S]*?\*/)
      | (?P<text>"(?:[^"\\\n]|\\[\s\S])*"|'(?:[^'\\\n]|\\[\s\S])*')
      | (?P<word>[A-Za-z_$\#][\w$]*|\d[\w.]*)
      | (?P<sign>=>|\?\.(?!\d)|\?\?=?|&&=?|\|\|=?|\.\.\.|[=!]==?|.)
    """,
    re.VERBOSE,
)
REGEX = re.compile(r"/(?:[^/\\\[\n]|\\.|\[(?:[^\]\\\n]|\\.)*\])+/\w*")
CLOSING = {"(": ")", "[": "]", "{": "}"}
DECISIONS = {"if", "for", "while", "case", "catch", "&&", "||", "??", "?", "&&=", "||=", "??="}
NO_METHOD = {"if", "for", "while", "switch", "catch", "with", "function", "return", "await"}
BEFORE_VALUE = {"return", "typeof", "case", "in", "of", "=>", "await", "yield"}  # not after a value


class JsSource:
    def __init__(self, text, name=""):
        self.name, self.functions = name, []
        self.texts, self.lines, self.match = [], [], {}
        self._breaks = [at.start() for at in re.finditer("\n", text)]
        self._read(text, 0, "")
        self._body(0, len(self.texts), Function(""))

    def _add(self, text, at):
        self.texts.append(text)
        self.lines.append(bisect.bisect_left(self._breaks, at) + 1)

    def _read(self, text, at, until):
        """Tokens from `at` on, to the bracket that closes; returns where that stands."""
        while at < len(text):
            before = self.texts[-1] if self.texts else ";"
            value = before[-1] in "\"'`)]}" or re.match(r"[\w$]", before) and before not in BEFORE_VALUE
            found = REGEX.match(text, at) if text[at] == "/" and text[at + 1] not in "/*" and not value else None
            found = found or TOKEN.match(text, at)
            one, here, at = found.group(), at, found.end()
            if one == until:
                return here
            if one == "`":
                at = self._template(text, at)
            elif one in CLOSING:
                opened = len(self.texts)
                self._add(one, here)
                at = self._read(text, at, CLOSING[one])
                self.match[opened] = len(self.texts)
                self._add(CLOSING[one], at)
                at += 1
            elif found.lastgroup != "skip":
                self._add(one, here)
        if until:
            raise ValueError(f"{self.name}: {until} is missing")
        return at

    def _template(self, text, at):
        """Between backticks: only what stands in ${} is code."""
        opened = at
        while text[at] != "`":
            if text[at] == "\\":
                at += 1
            elif text.startswith("${", at):
                at = self._read(text, at + 2, "}")
            at += 1
        self._add('"`"', opened)
        return at + 1

    def _body(self, i, end, function):
        while i < end:
            after = self._function(i, end, function)
            if after:
                i = after
                continue
            function.complexity += self.texts[i] in DECISIONS
            i += 1

    def _function(self, i, end, outer):
        """Where the function that begins at i ends, or 0."""
        t = self.texts
        if t[i] == "function":
            name = next(w for w in t[i + 1 : i + 3] if w != "*")
            return self._block("lambda in " + outer.name if name == "(" else name, i, t.index("(", i), end, outer)
        if t[i] == "(" and self._at(self.match[i] + 1) == "=>":
            return self._arrow(i, self.match[i] + 2, end, outer)
        if self._at(i + 1) == "=>":
            return self._arrow(i, i + 3 - 1, end, outer)
        if self._at(i + 1) == "(" and re.match(r"[A-Za-z_$#]", t[i]) and t[i] not in NO_METHOD:
            if self._at(self.match[i + 1] + 1) == "{" and self._at(i - 1) not in (".", "new", "?."):
                return self._block(t[i], i, i + 1, end, outer)
        return 0

    def _at(self, i):
        return self.texts[i] if 0 <= i < len(self.texts) else ""

    def _block(self, name, start, call, end, outer):
        brace = self.match[call] + 1
        self._inner(name, start, brace + 1, self.match[brace], self.match[brace], outer)
        return self.match[brace] + 1

    def _arrow(self, start, body, end, outer):
        name = "lambda in " + outer.name
        if self.texts[body] == "{":
            self._inner(name, start, body + 1, self.match[body], self.match[body], outer)
            return self.match[body] + 1
        i = body
        while i < end and self.texts[i] not in (",", ";", ")", "]", "}"):
            i = self.match.get(i, i) + 1
        self._inner(name, start, body, i, i - 1, outer)
        return i

    def _inner(self, name, start, first, last, close, outer):
        inner = Function(name, self.lines[start], self.lines[close])
        outer.lambdas.append(inner)
        self.functions.append(inner)
        self._body(first, last, inner)
