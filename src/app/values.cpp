#include "app/values.h"

#include <CLI/CLI.hpp>
#include <array>

namespace pinproof::app {
namespace {

struct Mark {
  Takes takes;
  const char* name;
};
constexpr std::array kMarks{Mark{Takes::file, "takes-file"}, Mark{Takes::folder, "takes-folder"},
                            Mark{Takes::profile, "takes-profile"}};

CLI::Option* marked(CLI::Option* option, Takes takes) {
  for (const Mark& mark : kMarks)
    if (mark.takes == takes) option->check(CLI::Validator(std::string()), mark.name);
  return option;
}

bool is_marked(CLI::Option& option, const char* name) {
  try {
    return option.get_validator(name) != nullptr;
  } catch (const CLI::OptionNotFound&) {
    return false;
  }
}

}  // namespace

CLI::Option* takes_file(CLI::Option* option) { return marked(option, Takes::file); }
CLI::Option* takes_folder(CLI::Option* option) { return marked(option, Takes::folder); }
CLI::Option* takes_profile(CLI::Option* option) { return marked(option, Takes::profile); }

Takes taken_by(CLI::Option& option) {
  for (const Mark& mark : kMarks)
    if (is_marked(option, mark.name)) return mark.takes;
  return Takes::text;
}

}  // namespace pinproof::app
