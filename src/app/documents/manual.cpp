#include "app/documents/manual.h"

#include <algorithm>
#include <array>
#include <string_view>

#include "quantity/phrase.h"

namespace pinproof::app {
namespace {

struct ManualLine {
  std::string_view head, text;
};

constexpr std::array kExits{ManualLine{"0", "accept, or done"},
                            ManualLine{"1", "reject"},
                            ManualLine{"2", "hold"},
                            ManualLine{"3", "wrong usage or file"},
                            ManualLine{"4", "bench fault"},
                            ManualLine{"5", "stopped"}};
constexpr std::array kVariables{
    ManualLine{"PINPROOF_LEDGER", "Where records are kept, if no \"--ledger\" says otherwise."},
    ManualLine{"PINPROOF_SHARE",
               "Folder that holds \"profiles\" and \"dialects\", instead of the installed one."},
    ManualLine{"PINPROOF_BROWSER", "Program that prints PDF files as Chromium does."},
    ManualLine{"XDG_DATA_HOME",
               "Holds \"pinproof/ledger.sqlite\"; ~/.local/share if it is not set."}};
constexpr std::array kFiles{
    ManualLine{"/usr/share/pinproof/profiles",
               "Installed profiles; their names serve as \"--profile\"."},
    ManualLine{"/usr/share/pinproof/dialects", "How families of instruments are spoken to."},
    ManualLine{"~/.local/share/pinproof/ledger.sqlite", "The records, if nothing else is said."},
    ManualLine{"~/.config/pinproof/bench.json",
               "The bench file of the user unit pinproof-screen.service."}};

// Signs that roff would read or typeset otherwise.
std::string roff(std::string_view text) {
  std::string out = text.starts_with('.') ? "\\&" : "";
  for (const char c : text) {
    switch (c) {
      case '\\':
        out += "\\e";
        break;
      case '-':
        out += "\\-";
        break;
      case '~':
        out += "\\(ti";
        break;
      case '^':
        out += "\\(ha";
        break;
      case '\'':
        out += "\\(aq";
        break;
      case '`':
        out += "\\(ga";
        break;
      default:
        out += c;
    }
  }
  return out;
}

std::string bold(std::string_view text) { return "\\fB" + roff(text) + "\\fR"; }
std::string italic(std::string_view text) { return "\\fI" + roff(text) + "\\fR"; }

std::string sentence(std::string text) {
  while (text.ends_with('.')) text.pop_back();
  return text + ".";
}

class Writer {
 public:
  void line(const std::string& text) { out_ += text + "\n"; }
  void tagged(const std::string& head, const std::string& text) {
    line(".TP");
    line(head);
    line(text);
  }
  void entries(const std::vector<Entry>& all) {
    for (const Entry& one : all) tagged(head_of(one), roff(remarks_of(one)));
  }
  void verbatim(const std::vector<std::string>& lines) {
    line(".nf");
    for (const std::string& one : lines) line(roff(one));
    line(".fi");
  }
  const std::string& text() const { return out_; }

 private:
  static std::string head_of(const Entry& one) {
    std::vector<std::string> flags;
    for (const std::string& flag : one.flags) flags.push_back(bold(flag));
    std::string out = flags.empty() ? italic(one.name) : joined(flags);
    if (!one.type.empty() && !flags.empty()) out += " " + italic(one.type);
    return one.repeated ? out + " ..." : out;
  }
  // What --help says in its own short form, as sentences.
  static std::string remarks_of(const Entry& one) {
    std::vector<std::string> out;
    if (!one.text.empty()) out.push_back(sentence(one.text));
    if (!one.choices.empty()) out.push_back("One of " + joined(one.choices) + ".");
    if (!one.low.empty()) out.push_back("From " + one.low + " to " + one.high + ".");
    if (!one.usual.empty()) out.push_back("Default: " + one.usual + ".");
    if (!one.excludes.empty()) out.push_back("Not together with " + joined(one.excludes) + ".");
    if (!one.needs.empty()) out.push_back("Only with " + joined(one.needs) + ".");
    if (one.required) out.push_back("Required.");
    return joined(out, " ");
  }

  std::string out_;
};

// A command of a command has no page of its own.
void add_nested(const Page& sub, Writer& out) {
  out.line(".SS \"" + roff(joined(sub.path, " ")) + "\"");
  out.line(roff(sentence(sub.about)));
  out.line(".PP");
  out.line(bold(sub.usage));
  out.entries(sub.arguments);
  out.entries(sub.options);
  if (sub.examples.empty()) return;
  out.line(".PP");
  out.line("Example:");
  out.line(".RS");
  out.verbatim(sub.examples);
  out.line(".RE");
}

void add_commands(const Page& page, Writer& out) {
  out.line(".SH COMMANDS");
  for (const Page& sub : page.commands)
    out.tagged(bold(sub.path.back()), roff(sentence(sub.about)));
}

void add_ends(Writer& out) {
  out.line(".SH EXIT STATUS");
  for (const ManualLine& one : kExits)
    out.tagged(bold(one.head), roff(sentence(std::string(one.text))));
  out.line(".SH ENVIRONMENT");
  for (const ManualLine& one : kVariables) out.tagged(bold(one.head), roff(one.text));
  out.line(".SH FILES");
  for (const ManualLine& one : kFiles) out.tagged(italic(one.head), roff(one.text));
}

std::string day_of(std::time_t made) {
  std::array<char, 16> day{};
  std::tm utc{};
  ::gmtime_r(&made, &utc);
  return {day.data(), std::strftime(day.data(), day.size(), "%Y-%m-%d", &utc)};
}

std::string upper(std::string text) {
  for (char& c : text)
    if (c >= 'a' && c <= 'z') c = static_cast<char>(c - 'a' + 'A');
  return text;
}

std::string manual_page(const Page& page, const std::vector<std::string>& names,
                        const std::string& version, const std::string& day) {
  const std::string name = page.title("-");
  // The program's own line begins with its name.
  const std::string prefix = "pinproof: ";
  const std::string about =
      page.about.starts_with(prefix) ? page.about.substr(prefix.size()) : page.about;
  std::string title = sentence(about);
  title.pop_back();
  Writer out;
  out.line(".TH " + roff(upper(name)) + " 1 \"" + day + "\" \"" + version + "\" \"User Commands\"");
  out.line(".nh");
  out.line(".ad l");
  out.line(".SH NAME");
  out.line(roff(name) + " \\- " + roff(title));
  out.line(".SH SYNOPSIS");
  out.line(bold(page.usage));
  out.line(".SH DESCRIPTION");
  out.line(roff(sentence(about)));
  if (!page.commands.empty()) add_commands(page, out);
  if (!page.arguments.empty()) out.line(".SH ARGUMENTS");
  out.entries(page.arguments);
  out.line(".SH OPTIONS");
  out.entries(page.options);
  if (!page.path.empty() && !page.commands.empty()) {
    out.line(".SH OPTIONS OF THE COMMANDS");
    for (const Page& sub : page.commands) add_nested(sub, out);
  }
  if (!page.examples.empty()) {
    out.line(".SH EXAMPLES");
    out.verbatim(page.examples);
  }
  add_ends(out);
  std::vector<std::string> others;
  for (const std::string& other : names)
    if (other != name) others.push_back(bold(other) + "(1)");
  out.line(".SH SEE ALSO");
  out.line(joined(others, ",\n"));
  return out.text();
}

}  // namespace

std::map<std::string, std::string> manual(const Page& program, const std::string& version,
                                          std::time_t made) {
  std::vector<const Page*> pages{&program};
  for (const Page& command : program.commands) pages.push_back(&command);
  std::vector<std::string> names;
  for (const Page* page : pages) names.push_back(page->title("-"));
  std::map<std::string, std::string> out;
  for (const Page* page : pages)
    out[page->title("-") + ".1"] = manual_page(*page, names, version, day_of(made));
  return out;
}

}  // namespace pinproof::app
