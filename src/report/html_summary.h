// Page one of a report: what a customer may be handed. It fits one sheet of A4
// or Letter however long names and lists are; all in full comes after it.
#pragma once

#include <string>

#include "report/formats.h"

namespace pinproof::report {

/// `notice`: HTML that stands under the verdict; may be empty.
std::string summary_page(const Input& input, const std::string& notice);
/// Its own part of the style sheet.
std::string_view summary_style();

/// The rows of who, what, where and when; cut to so many columns, 0: whole.
std::string identity(const Input& input, std::size_t columns);

}  // namespace pinproof::report
