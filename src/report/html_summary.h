// Page one of a report: what a customer may be handed. It fits one sheet of A4
// or Letter however long names and lists are; all in full comes after it.
#pragma once

#include <string>

#include "report/formats.h"
#include "report/markup.h"

namespace pinproof::report {

/// `notice`: stands under the verdict; may be empty.
Markup summary_page(const Input& input, const Markup& notice);
/// Its own part of the style sheet.
Css summary_style();

/// The rows of who, what, where and when; cut to so many columns, 0: whole.
Markup identity(const Input& input, std::size_t columns);

}  // namespace pinproof::report
