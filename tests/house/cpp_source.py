"""What stands in a C++ source: functions, lambdas, types, lasting variables and includes.

A scanner of our own, since no tool of Debian 12 reads C++20 whole: brackets are matched,
then each `{` is told apart by what stands before it. It expands no macros and takes both
sides of an #if. What it takes for a function can be checked against clang:
`house.py SOURCES --list functions`.

Cyclomatic complexity is 1 and one more for each if, for, while, case, catch, && or ||,
and ?: of the body. `switch`, `else`, `do` and `default` decide nothing by themselves. A
lambda is a function of its own, and so is each function of a local class; what a function
has together with all of its lambdas is told beside it.
"""

import bisect
import dataclasses
import re

TOKEN = re.compile(
    r"""(?P<skip>\s+|//(?:[^\n\\]|\\[\s\S])*|/\*[\s\S]*?\*/)
      | (?P<directive>(?<![^\n])[ \t]*\#(?:[^\n\\]|\\[\s\S])*)
      | (?P<raw>(?:u8|[uUL])?R"(?P<mark>[^()\\\s]{0,16})\([\s\S]*?\)(?P=mark)")
      | (?P<text>(?:u8|[uUL])?"(?:[^"\\\n]|\\[\s\S])*"|(?:u8|[uUL])?'(?:[^'\\\n]|\\[\s\S])+')
      | (?P<number>\.?\d(?:[eEpP][+-]|'\w|[\w.])*)
      | (?P<word>[A-Za-z_]\w*)
      | (?P<sign>::|->|\+\+|--|&&|\|\||<=>|<<=|<<|<=|==|!=|\+=|-=|\*=|/=|%=|&=|\|=|\^=|\.\.\.|.)
    """,
    re.VERBOSE,
)
INCLUDE = re.compile(r'^[ \t]*#[ \t]*include[ \t]+"([^"]+)"', re.MULTILINE)
WORD = re.compile(r"[A-Za-z_]\w*$")
CLOSING = {"(": ")", "[": "]", "{": "}"}
DECISIONS = {"if", "for", "while", "case", "catch", "&&", "||", "?", "and", "or"}
TYPES = {"class", "struct", "union", "enum"}
ACCESS = {"public", "private", "protected"}
NO_FUNCTION = {"noexcept", "alignas", "decltype", "explicit", "requires", "__attribute__"}
NO_VARIABLE = {"using", "namespace", "typedef", "static_assert", "friend", "extern", "concept"}
BEFORE_LAMBDA = {"return", "co_return", "co_yield", "co_await", "throw", "case"}


@dataclasses.dataclass
class Function:
    name: str
    line: int = 0
    last: int = 0
    complexity: int = 1
    lambdas: list = dataclasses.field(default_factory=list)

    @property
    def lines(self):
        return self.last - self.line + 1

    @property
    def with_lambdas(self):
        return self.complexity + sum(one.with_lambdas - 1 for one in self.lambdas)


@dataclasses.dataclass
class Type:
    name: str
    scope: str  # where it stands, "::" between
    line: int
    alias: str = ""  # what it is another name of


@dataclasses.dataclass
class Variable:
    """One that lasts as long as the program: of a file, of a class, or static in a function."""

    name: str
    line: int
    constant: bool


@dataclasses.dataclass
class Scope:
    names: tuple = ()
    in_type: bool = False
    in_function: bool = False

    def within(self, name, **kind):
        return Scope(self.names + (name or "(anonymous)",), in_function=self.in_function, **kind)


class Source:
    def __init__(self, text, name=""):
        self.name = name
        self.functions, self.types, self.variables = [], [], []
        self.includes = INCLUDE.findall(text)
        self._read(text)
        self._match()
        self._declarations(0, len(self.texts), Scope())

    # Tokens.

    def _read(self, text):
        self.texts, starts = [], []
        for found in TOKEN.finditer(text):
            if found.lastgroup not in ("skip", "directive"):
                self.texts.append(found.group())
                starts.append(found.start())
        breaks = [at.start() for at in re.finditer("\n", text)]
        self.lines = [bisect.bisect_left(breaks, start) + 1 for start in starts]

    def _match(self):
        self.match, waiting = {}, []
        for i, text in enumerate(self.texts):
            if text in CLOSING:
                waiting.append(i)
            elif text in (")", "]", "}"):
                if not waiting or CLOSING[self.texts[waiting[-1]]] != text:
                    raise ValueError(f"{self.name}:{self.lines[i]}: {text} closes nothing")
                self.match[waiting.pop()] = i
        if waiting:
            raise ValueError(f"{self.name}:{self.lines[waiting[-1]]}: never closed")

    def _at(self, i):
        return self.texts[i] if 0 <= i < len(self.texts) else ""

    def _bare(self, first, last):
        """Places of the tokens without what stands in brackets, of which `{` is kept."""
        out, i, angle = [], first, 0
        while i < last:
            one = self.texts[i]
            if one == "<" and WORD.match(self._at(i - 1)):
                angle += 1
            elif one == ">" and angle:
                angle -= 1
            elif not angle and one not in ("(", "["):
                out.append(i)
            i = self.match.get(i, i) + 1
        return out

    def _words(self, first, last):
        return [self.texts[i] for i in self._bare(first, last)]

    # What stands in a file, a namespace or a class.

    def _declarations(self, i, end, scope):
        while i < end:
            i = self._declaration(i, end, scope)

    def _declaration(self, start, end, scope):
        """Reads one declaration from `start`; returns where the next one starts."""
        i, angle, call = start, 0, None
        while i < end:
            one = self.texts[i]
            if one == ";":
                self._plain(start, i, scope, call)
                return i + 1
            if one == "<" and WORD.match(self._at(i - 1)) and self._at(i - 1) != "operator":
                angle += 1
            elif one == ">" and angle:
                angle -= 1
            elif one == "(" and not angle and call is None and self._names_function(i):
                call = i
            elif one == "=" and not angle and self._at(i - 1) != "operator":
                return self._initialised(start, i, end, scope, call)
            elif one == ":" and self._at(i - 1) in ACCESS:
                return i + 1
            elif one == ":" and not angle and call is not None:
                return self._constructor(start, i, call)
            elif one == "{" and not angle:
                after = self._braced(start, i, scope, call)
                if after:
                    return after
            i = self.match.get(i, i) + 1
        return end

    def _names_function(self, i):
        before = self._at(i - 1)
        if before == "operator":  # of operator()(...): the second pair
            return self._at(i + 2) != "("
        return "operator" in self.texts[max(0, i - 3) : i] or (
            WORD.match(before) and before not in NO_FUNCTION)

    def _braced(self, start, i, scope, call):
        """What the `{` at i opens. Returns where the next declaration starts, or 0 where this
        one goes on behind the `}`."""
        close, words = self.match[i], self._words(start, i)
        if "namespace" in words:
            name = "".join(w for w in words if w not in ("inline", "namespace"))
            self._declarations(i + 1, close, scope.within(name))
            return close + 1
        if words[:1] == ["extern"] and len(words) == 2:
            self._declarations(i + 1, close, scope)
            return close + 1
        if words == ["catch"]:  # of the function before, whose whole body is tried
            self._body(start, close, self.functions[-1])
            self.functions[-1].last = self.lines[close]
            return close + 1
        if call is not None:
            self._function(start, call, i)
            return close + 1
        if TYPES & set(words):
            name = self._type(start, i, scope)
            if "enum" not in words:
                self._declarations(i + 1, close, scope.within(name, in_type=True))
        else:
            self._body(i + 1, close, Function(self._last_word(start, i)))
        return 0

    def _type(self, start, end, scope):
        places = self._bare(start, end)
        words = [self.texts[i] for i in places]
        first = min(words.index(w) for w in TYPES & set(words))
        name = []
        for word in words[first:]:
            if word in (":", "final"):
                break
            name += [] if word in TYPES | {"alignas"} else [word]
        at = places[first]
        special = any(self.texts[i] == "<" and self._at(i - 1) == (name or [""])[-1] for i in range(at, end))
        if name and not special and not scope.in_function:  # template <> struct X<int> names nothing new
            where = "::".join(scope.names) + "".join("::" + w for w in name[:-1] if w != "::")
            self.types.append(Type(name[-1], where, self.lines[at]))
        return "".join(name)

    def _plain(self, start, end, scope, call):
        """What ended in `;` without `=`: a variable, or the declaration of something else."""
        words = self._words(start, end)
        if call is not None or len(words) < 2 or words[0] in NO_VARIABLE | {"template"}:
            return
        if TYPES & set(words) and ("{" not in words or words[-1] == "{"):
            return
        brace = next((i for i in self._bare(start, end) if self.texts[i] == "{"), end)
        self._variable(start, end if TYPES & set(words) else brace, scope)

    def _initialised(self, start, i, end, scope, call):
        stop = i
        while stop < end and self.texts[stop] != ";":
            stop = self.match.get(stop, stop) + 1
        words = self._words(start, i)
        if "using" in words:
            name = words[words.index("using") + 1]
            if not scope.in_function:
                self.types.append(Type(name, "::".join(scope.names), self.lines[start],
                                       " ".join(self.texts[i + 1 : stop])))
        elif call is None and not NO_VARIABLE & set(words):
            self._variable(start, i, scope)
        self._body(i + 1, stop, Function(self._last_word(start, i)))
        return stop + 1

    def _last_word(self, first, last):
        return next((w for w in reversed(self._words(first, last)) if WORD.match(w)), "")

    def _variable(self, first, last, scope):
        words = self._words(first, last)
        if scope.in_type or scope.in_function:
            if "static" not in words and "thread_local" not in words:
                return
        indirect = max((k for k, w in enumerate(words) if w in ("*", "&")), default=None)
        own = words if indirect is None else words[indirect:]  # int const* is a pointer that can change
        constant = "constexpr" in words or "const" in own or own[0] == "&"
        self.variables.append(Variable(self._last_word(first, last), self.lines[first], constant))

    # Functions.

    def _constructor(self, start, colon, call):
        """From the colon before the list of members to the end of the body."""
        i, inits = colon + 1, []
        while True:
            while self.texts[i] not in ("(", "{"):
                i += 1
            inits.append(i)
            i = self.match[i] + 1
            i += self.texts[i] == "..."
            if self.texts[i] != ",":
                break
        function = self._function(start, call, i)
        for init in inits:
            self._body(init + 1, self.match[init], function)
        return self.match[i] + 1

    def _name(self, call):
        i = call - 1
        while "operator" in self.texts[max(0, i - 2) : i]:
            i -= 1
        while i > 1 and (self.texts[i - 1] == "~" or self.texts[i - 1] == "::" and WORD.match(self.texts[i - 2])):
            i -= 1 if self.texts[i - 1] == "~" else 2
        return "".join(self.texts[i:call])

    def _function(self, start, call, brace):
        close = self.match[brace]
        function = Function(self._name(call), self.lines[start], self.lines[close])
        self.functions.append(function)
        self._body(brace + 1, close, function)
        return function

    def _body(self, i, end, function):
        while i < end:
            one = self.texts[i]
            if one == "[" and self._opens_lambda(i):
                i = self._lambda(i, function)
                continue
            brace = self._local_type(i) if one in TYPES else 0
            if brace:
                if one != "enum":
                    self._declarations(brace + 1, self.match[brace], Scope((function.name,), True, True))
                i = self.match[brace]
            elif one in ("static", "thread_local"):
                self._static(i)
            elif one in DECISIONS and not (one == "&&" and self._is_reference(i)):
                function.complexity += 1
            i += 1

    def _opens_lambda(self, i):
        before = self._at(i - 1)
        if "[" in (before, self._at(i + 1)):  # an attribute
            return False
        if before in ("&", "&&") and self._at(i - 2) == "auto":  # structured binding
            return False
        return before in BEFORE_LAMBDA or not re.match(r"[\w)\]}\"']", before)

    def _lambda(self, i, function):
        start = i
        i = self.match[i] + 1
        while self.texts[i] != "{":  # parameters, mutable, -> type
            i = self.match.get(i, i) + 1
        close = self.match[i]
        inner = Function(f"lambda in {function.name}", self.lines[start], self.lines[close])
        function.lambdas.append(inner)
        self.functions.append(inner)
        self._body(start + 1, self.match[start], function)  # what it captures is computed outside
        self._body(i + 1, close, inner)
        return close + 1

    def _local_type(self, i):
        """Where the `{` of a class stands that is defined here, or 0: `struct tm when{}` defines none."""
        k, names = i + 1, 0
        while WORD.match(self._at(k)):
            names += self.texts[k] not in TYPES | {"final"}
            k += 1
        if self._at(k) == ":" and names <= 1:
            while self._at(k) not in ("{", ";", ")", ""):
                k += 1
        return k if self._at(k) == "{" and names <= 1 else 0

    def _static(self, i):
        k, angle = i, 0
        while angle or self.texts[k] not in (";", "=", "{", "("):
            angle += {"<": 1, ">": -1}.get(self.texts[k], 0)
            k += 1
        if self.texts[i - 1] not in ("static", "thread_local"):
            self._variable(i, k, Scope())

    def _is_reference(self, i):
        """An && that makes a reference, not a decision."""
        before, after = self._at(i - 1), self._at(i + 1)
        declares = WORD.match(after) and self._at(i + 2) in (":", ")", ",")
        return before == "auto" or after in (")", ",", ">", "...") or before == ">" and declares
