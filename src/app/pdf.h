// A page of ours on paper: printed by a browser that is installed, without a network.
#pragma once

#include <string>

namespace pinproof::app {

/// Prints the page to a PDF file with chromium, google-chrome or what PINPROOF_BROWSER names. The
/// page goes through a private temporary folder that is gone afterwards. Throws Error(usage) where
/// there is no such browser, Error(timeout) where it takes more than a minute, Error(aborted) when
/// stopped meanwhile.
void write_pdf(const std::string& html, const std::string& path);

/// ".pdf" at the end of a path, in any case.
bool is_pdf(const std::string& path);

}  // namespace pinproof::app
