#include "app/documents/pages.h"

#include <CLI/CLI.hpp>
#include <algorithm>
#include <set>
#include <sstream>
#include <stdexcept>

#include "app/command.h"
#include "app/values.h"
#include "quantity/phrase.h"

namespace pinproof::app {
namespace {

std::vector<std::string> split(const std::string& text, char at) {
  std::vector<std::string> out;
  std::istringstream in(text);
  for (std::string part; std::getline(in, part, at);) out.push_back(part);
  return out;
}

std::string trimmed(const std::string& text) {
  const auto first = text.find_first_not_of(" \n");
  return first == std::string::npos ? ""
                                    : text.substr(first, text.find_last_not_of(" \n") - first + 1);
}

std::vector<std::string> names_of(const std::set<CLI::Option*>& options) {
  std::vector<std::string> out;
  for (const CLI::Option* option : options) out.push_back(option->get_name());
  std::sort(out.begin(), out.end());  // the set is in order of addresses
  return out;
}

/// Each check by what it says of itself: "{a,b}" or "FLOAT in [0 - 1]"; nothing from our marks.
std::vector<std::string> checks_of(CLI::Option& option) {
  std::vector<std::string> out;
  try {
    for (int k = 0;; ++k)
      if (std::string said = option.get_validator(k)->get_description(); !said.empty())
        out.push_back(std::move(said));
  } catch (const CLI::OptionNotFound&) {  // behind the last one
  }
  return out;
}

void add_check(const std::string& said, Entry& entry) {
  constexpr std::string_view kIn = " in [", kTo = " - ";
  if (said.starts_with('{') && said.ends_with('}')) {
    entry.choices = split(said.substr(1, said.size() - 2), ',');
    return;
  }
  const auto in = said.find(kIn), to = said.find(kTo, in);
  if (in == std::string::npos || to == std::string::npos || !said.ends_with(']'))
    throw std::logic_error(entry.name + ": a check of another form: " + said);
  entry.low = said.substr(in + kIn.size(), to - in - kIn.size());
  entry.high = said.substr(to + kTo.size(), said.size() - 1 - to - kTo.size());
}

Completion completion_of(CLI::Option& option, const Entry& entry) {
  if (entry.type.empty()) return Completion::none;
  if (!entry.choices.empty()) return Completion::choice;
  switch (taken_by(option)) {
    case Takes::file:
      return Completion::file;
    case Takes::folder:
      return Completion::folder;
    case Takes::profile:
      return Completion::profile;
    case Takes::text:
      break;
  }
  return Completion::text;
}

Entry entry_of(CLI::Option& option) {
  Entry out;
  for (const std::string& name : option.get_snames()) out.flags.push_back("-" + name);
  for (const std::string& name : option.get_lnames()) out.flags.push_back("--" + name);
  out.name = option.get_positional() ? option.get_name(true) : out.flags.back();
  out.text = option.get_description();
  out.excludes = names_of(option.get_excludes());
  out.needs = names_of(option.get_needs());
  out.required = option.get_required();
  if (option.get_items_expected_max() == 0) return out;  // a flag
  const std::string type = option.get_type_name();
  out.type = type.substr(0, type.find(':'));
  out.usual = option.get_default_str();
  out.repeated = option.get_expected_max() == CLI::detail::expected_max_vector_size;
  for (const std::string& said : checks_of(option)) add_check(said, out);
  out.completion = completion_of(option, out);
  return out;
}

// Of the footer, which CLI11 hands down to commands that have none of their own.
std::vector<std::string> examples_of(const CLI::App& app) {
  const std::string footer = app.get_footer();
  std::vector<std::string> out;
  if (!footer.starts_with(kExampleHeading)) return out;
  for (const std::string& line : split(footer.substr(kExampleHeading.size()), '\n'))
    out.push_back(trimmed(line));
  return out;
}

}  // namespace

std::string Page::title(const std::string& between) const {
  return path.empty() ? "pinproof" : "pinproof" + between + joined(path, between);
}

Page read_page(CLI::App& app, const std::vector<std::string>& path) {
  Page out;
  out.path = path;
  const std::string about = app.get_description();
  out.about = about.substr(0, about.find('\n'));
  const std::string usage = CLI::Formatter().make_usage(&app, out.title());
  out.usage = trimmed(usage.substr(usage.find(' ')));  // without its heading
  for (CLI::Option* option : app.get_options()) {
    if (option->get_group().empty()) continue;
    (option->get_positional() ? out.arguments : out.options).push_back(entry_of(*option));
  }
  out.examples = examples_of(app);
  for (CLI::App* sub : app.get_subcommands([](CLI::App*) { return true; })) {
    if (sub->get_group().empty()) continue;
    std::vector<std::string> below = path;
    below.push_back(sub->get_name());
    out.commands.push_back(read_page(*sub, below));
  }
  return out;
}

}  // namespace pinproof::app
