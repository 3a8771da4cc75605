// Reports of one inspection in every format there is. A format is one file and
// one line in the table of formats.cpp.
#pragma once

#include <span>
#include <string>
#include <string_view>

#include "inspection/checks/judgement.h"
#include "profile/profile.h"
#include "record/record.h"

namespace pinproof::report {

struct Input {
  const profile::Profile* profile;
  const record::Record* record;
  const inspection::Judgement* judgement;
  bool verbose = false;  ///< text only: every check, not only those that need a look
};

struct Format {
  std::string_view name;
  std::string (*render)(const Input& input);
};

std::span<const Format> formats();

/// Throws Error(Fault::usage) for a name that is not in the table.
std::string render(std::string_view format, const Input& input);

std::string to_text(const Input& input);
std::string to_json(const Input& input);
std::string to_csv(const Input& input);
std::string to_html(const Input& input);

}  // namespace pinproof::report
